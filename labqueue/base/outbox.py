"""The outbox: work that a transaction leaves behind, done later by a worker, at least once and published exactly once.

A row is claimed under a lease by compare-and-set. Its handler computes without a transaction and returns what is to be
written; that is written in the transaction that closes the row, and only if this attempt still holds it.
"""

import logging
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

from django.db import transaction
from django.db.models import F, Q, QuerySet
from django.utils import timezone

from labqueue.base.models import OutboxRow

log = logging.getLogger(__name__)

MAX_ATTEMPTS = 3
Publish = Callable[[], None]
Work = Callable[[OutboxRow], Publish]


@dataclass(frozen=True)
class Handler:
    """Who does the rows of one kind, and for how many seconds one attempt may hold a row."""

    work: Work
    lease: int


HANDLERS: dict[str, Handler] = {}


def handles(kind: str, lease: int = 60) -> Callable[[Work], Work]:
    """Decorator: this function does the rows of `kind`. It returns what publishes its result."""

    def register(work: Work) -> Work:
        HANDLERS[kind] = Handler(work, lease)
        return work

    return register


def put(kind: str, subject: str, payload: dict[str, object] | None = None) -> OutboxRow:
    """Leave work behind in the caller's transaction. While a row of that kind and subject is queued, no second is made."""
    row = OutboxRow(kind=kind, subject=subject, payload=payload or {}, due_at=timezone.now())
    OutboxRow.objects.bulk_create([row], ignore_conflicts=True)
    queued = OutboxRow.objects.get(kind=kind, subject=subject, state=OutboxRow.State.QUEUED)
    transaction.on_commit(lambda: poke(queued.pk), robust=True)
    return queued


def poke(row_id: int) -> None:
    """Tell a worker. A broker that is away is no harm: the sweep finds the row."""
    from labqueue.base.tasks import run_outbox

    try:
        run_outbox.apply_async([row_id], retry=False)
    except Exception as error:
        log.warning("outbox row %s waits for the sweep: %s", row_id, error)


def run(row_id: int) -> bool:
    """Do one row if it is due and nobody holds it; whether this call finished it."""
    row = claim(row_id)
    if row is None:
        return False
    try:
        publish = HANDLERS[row.kind].work(row)
        return finish(row, publish)
    except Exception as error:
        log.exception("outbox row %s (%s) failed", row.pk, row.kind)
        give_back(row, f"{type(error).__name__}: {error}")
        return False


def due() -> Q:
    """Rows that a worker may take now: queued and due, or running under a lease that has run out."""
    now = timezone.now()
    return Q(state=OutboxRow.State.QUEUED, due_at__lte=now) | Q(state=OutboxRow.State.RUNNING, lease_until__lt=now)


def claim(row_id: int) -> OutboxRow | None:
    """Take a row under a lease, or None where it is not due, somebody holds it, or it was tried too often."""
    rows = OutboxRow.objects.filter(due(), pk=row_id)
    kind = rows.values_list("kind", flat=True).first()
    if kind is None or bury(rows):
        return None
    until = timezone.now() + timedelta(seconds=HANDLERS[kind].lease)
    if rows.update(state=OutboxRow.State.RUNNING, attempt=F("attempt") + 1, lease_until=until) != 1:
        return None
    return OutboxRow.objects.get(pk=row_id)


def bury(rows: QuerySet[OutboxRow]) -> bool:
    """Set aside what was tried too often, so that work which kills its worker cannot go round for ever."""
    spent = rows.filter(attempt__gte=MAX_ATTEMPTS)
    return spent.update(state=OutboxRow.State.DEAD, finished_at=timezone.now(), error="tried too often") > 0


def finish(row: OutboxRow, publish: Publish) -> bool:
    """Close the row and publish in one transaction, unless another attempt has taken it meanwhile."""
    with transaction.atomic():
        mine = OutboxRow.objects.filter(pk=row.pk, attempt=row.attempt, state=OutboxRow.State.RUNNING)
        if mine.update(state=OutboxRow.State.DONE, finished_at=timezone.now(), lease_until=None, error="") != 1:
            return False
        publish()
    return True


def give_back(row: OutboxRow, error: str) -> None:
    """After a failure: again later, or set aside after the last attempt or where the same work is queued anew."""
    mine = OutboxRow.objects.filter(pk=row.pk, attempt=row.attempt, state=OutboxRow.State.RUNNING)
    queued = OutboxRow.objects.filter(kind=row.kind, subject=row.subject, state=OutboxRow.State.QUEUED)
    if row.attempt >= MAX_ATTEMPTS or queued.exists():
        mine.update(state=OutboxRow.State.DEAD, finished_at=timezone.now(), lease_until=None, error=error[:500])
        return
    wait = timedelta(seconds=5 * 4 ** (row.attempt - 1))
    mine.update(state=OutboxRow.State.QUEUED, due_at=timezone.now() + wait, lease_until=None, error=error[:500])


def sweep(limit: int = 200) -> list[int]:
    """Send a message for every row that is due; their ids. For messages that were lost and leases that ran out."""
    ids = list(OutboxRow.objects.filter(due()).order_by("due_at").values_list("pk", flat=True)[:limit])
    for row_id in ids:
        poke(row_id)
    return ids
