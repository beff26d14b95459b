"""What a worker does for shipping: it renders papers from their frozen facts and keeps the file."""

from collections.abc import Callable
from typing import Any

from django.db.models import CharField, Exists, OuterRef, QuerySet, Value
from django.db.models.functions import Cast, Concat
from django.utils import timezone

from labqueue.base import files, outbox
from labqueue.base.files import Stored
from labqueue.base.models import OutboxRow
from shipping.models import Paper
from shipping.papers import invoice, slip

KIND = "paper"
PRINTERS: dict[str, Callable[[Any], bytes]] = {Paper.Kind.SLIP: slip.pdf, Paper.Kind.INVOICE: invoice.pdf}


def ask_for(paper: Paper) -> None:
    """Have a paper made, once the caller's transaction is committed."""
    outbox.put(KIND, f"paper:{paper.pk}", {"paper": paper.pk})


def with_fate() -> "QuerySet[Paper]":
    """Papers that know whether the worker has given them up."""
    subject = Concat(Value("paper:"), Cast(OuterRef("pk"), CharField()))
    dead = OutboxRow.objects.filter(kind=KIND, subject=subject, state=OutboxRow.State.DEAD)
    return Paper.objects.annotate(set_aside=Exists(dead))


@outbox.handles(KIND, lease=60, patience=outbox.LONG_PATIENCE)
def make(row: OutboxRow) -> outbox.Publish:
    """Render a paper and keep it; one that is made already is left as it is."""
    paper = Paper.objects.get(pk=row.payload["paper"])
    if paper.made_at is not None:
        return lambda: None
    stored = files.store(render(paper), ".pdf")
    return lambda: keep(paper.pk, stored)


def render(paper: Paper) -> bytes:
    """The PDF of a paper's facts; always the same bytes."""
    return PRINTERS[paper.kind](paper.facts)


def keep(paper_id: int, stored: Stored) -> None:
    """Note where the file of a paper is."""
    waiting = Paper.objects.filter(pk=paper_id, made_at=None)
    waiting.update(file=stored.name, sha256=stored.sha256, size=stored.size, made_at=timezone.now())
