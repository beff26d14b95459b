"""What the shipping desk works from. Query counts do not grow with the lists."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Prefetch, Q, QuerySet
from django.utils import timezone

from labqueue.production.models import WorkItem
from orders.models import Case
from shipping.models import Delivery, Invoice, Paper
from shipping.tasks import with_fate


@dataclass(frozen=True)
class Waiting:
    """A finished case that waits for packing, with how many of its pieces lie in the box."""

    case: Case
    pieces: int
    in_box: int

    @property
    def share(self) -> float:
        """The part of the pieces that is in the box, from 0 to 1."""
        return self.in_box / self.pieces if self.pieces else 0.0

    @property
    def text(self) -> str:
        """The same in words: `1 of 2`."""
        return f"{self.in_box} of {self.pieces}"


@dataclass(frozen=True)
class Box:
    """A closed box with what belongs to it."""

    delivery: Delivery
    papers: dict[str, Paper]
    invoice: Invoice | None


def to_pack() -> list[Waiting]:
    """Finished cases, earliest due date first; those on hold at the end."""
    live = ~Q(work_items__state=WorkItem.State.WITHDRAWN)
    done = Q(work_items__state=WorkItem.State.DONE)
    cases = Case.objects.filter(state=Case.State.FINISHED).select_related("practice", "outlook")
    counted = cases.annotate(pieces=Count("work_items", filter=live), in_box=Count("work_items", filter=done))
    found = [Waiting(case, case.pieces, case.in_box) for case in counted.order_by("due_at", "number")]
    return sorted(found, key=lambda waiting: waiting.case.on_hold)


def packed() -> list[Box]:
    """Closed boxes that have not left, earliest due date first."""
    waiting = Delivery.objects.filter(state=Delivery.State.PACKED)
    return boxes(waiting.order_by("case__due_at", "case__number"))


def shipped_since(start: datetime) -> list[Box]:
    """Boxes that have left since `start`, the last first."""
    gone = Delivery.objects.filter(state=Delivery.State.SHIPPED, shipped_at__gte=start)
    return boxes(gone.order_by("-shipped_at"))


def boxes(deliveries: "QuerySet[Delivery]") -> list[Box]:
    """Deliveries with their papers and invoices. Two queries."""
    whole = deliveries.select_related("case__practice", "invoice").prefetch_related(Prefetch("papers", with_fate()))
    return [
        Box(delivery, {paper.kind: paper for paper in delivery.papers.all()}, getattr(delivery, "invoice", None))
        for delivery in whole
    ]


def today() -> datetime:
    """Midnight of today in the laboratory's zone."""
    return timezone.localtime().replace(hour=0, minute=0, second=0, microsecond=0)


def last_carrier() -> str:
    """Who took the last box: most likely who takes the next. Empty before the first."""
    last = Delivery.objects.filter(state=Delivery.State.SHIPPED).order_by("-shipped_at").first()
    return last.carrier if last else ""


def invoice_paper(invoice: Invoice) -> Paper | None:
    """The paper of an invoice; its delivery's papers should be loaded with it."""
    return next((paper for paper in invoice.delivery.papers.all() if paper.kind == Paper.Kind.INVOICE), None)
