"""Laying the pieces of a case into its box: each is scanned at packing, and a piece of another case is refused."""

from dataclasses import dataclass
from uuid import uuid4

from django.db import transaction

from labqueue.base.errors import Conflict, refuse
from labqueue.base.models import User
from labqueue.production.models import Scan, Station, WorkItem, WorkStep
from labqueue.production.pieces import piece_by
from labqueue.production.release import live_items
from labqueue.production.scan import ScanResult, scan
from orders import words
from orders.doors import lock
from orders.models import Case


@dataclass(frozen=True)
class Place:
    """Where a piece of the case is: in the box, or before a step."""

    piece: WorkItem
    step: WorkStep | None

    @property
    def in_box(self) -> bool:
        """Whether it was scanned into the box."""
        return self.piece.state == WorkItem.State.DONE

    @property
    def tooth(self) -> dict[str, str]:
        """Its tooth as the practice writes it, for the part `tooth.html`."""
        return words.tooth(self.piece.tooth, self.piece.case.practice)

    @property
    def waits(self) -> bool:
        """Whether it is here and only has to be scanned."""
        return self.step is not None and self.step.station.kind == Station.Kind.PACKING


@transaction.atomic
def put_in(actor: User, case: Case, code: str) -> ScanResult:
    """Scan a piece into the box of `case`: its packing step is started and done at once. Again, it changes nothing.

    Raises Conflict for a piece of another case, and for all that stops a scan at packing.
    """
    lock(case)
    piece = piece_by(code)
    if piece.case_id != case.pk:
        raise refuse("wrong-box", wrong_box(piece, case), "code", kind=Conflict)
    if piece.state == WorkItem.State.DONE:
        return ScanResult(piece.scans.select_related("item").latest("id"), repeated=True)
    step = packing_step(piece)
    if step.state == WorkStep.State.WAITING:
        scan(actor, key=uuid4(), code=code, station=step.station.code, action=Scan.Action.START)
    return scan(actor, key=uuid4(), code=code, station=step.station.code, action=Scan.Action.DONE)


def wrong_box(piece: WorkItem, case: Case) -> str:
    """What is said when a piece of another case was scanned."""
    other = piece.case
    return f"WRONG BOX. {piece} belongs to case {other.number} of {other.practice}, not to {case.number}. Take it out."


def packing_step(piece: WorkItem) -> WorkStep:
    """The step of a piece at packing. Raises Conflict where its route has none."""
    step = piece.steps.filter(station__kind=Station.Kind.PACKING).select_related("station").order_by("seq").last()
    if step is None:
        raise refuse("route", f"The route of {piece} has no packing step. The lab manager must mend it.", kind=Conflict)
    return step


def places(case: Case) -> list[Place]:
    """Where every live piece of the case is. Two queries, where the case came with its practice."""
    open_steps = WorkStep.objects.filter(item__case=case).exclude(state=WorkStep.State.DONE).select_related("station")
    first: dict[int, WorkStep] = {}
    for step in open_steps.order_by("seq"):
        first.setdefault(step.item_id, step)
    return [Place(piece, first.get(piece.pk)) for piece in live_items(case)]
