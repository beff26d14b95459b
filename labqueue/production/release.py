"""Release a case to the floor; and again after its prescription was changed there."""

from collections.abc import Iterable, Mapping

from django.db import transaction
from django.db.models import F
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Conflict, Fault, refuse
from labqueue.base.models import User
from labqueue.base.moves import move
from labqueue.production.finish import finish_if_through
from labqueue.production.models import WorkItem, WorkStep
from labqueue.production.people import laboratory_only
from labqueue.production.pieces import MOST_PIECES, MOVES, amended, code_of
from labqueue.production.routing import route_for
from orders import teeth
from orders.acceptance import ready_to_make
from orders.doors import lock
from orders.implant.reads import unconfirmed
from orders.lifecycle import advance
from orders.materials import Kind
from orders.models import Case, Item
from orders.seal import ALWAYS, SHAPING

# What makes a piece another one. Its line in the prescription does not.
FACTS = [field for field in (*ALWAYS, *SHAPING) if field != "line"]
ON_THE_FLOOR = frozenset({Case.State.RELEASED, Case.State.FINISHED})
Place = tuple[int, str]


@transaction.atomic
def release(actor: User, case: Case) -> list[WorkItem]:
    """Lay the signed prescription out as work items, each with the steps of its route; the live ones in their order.

    After an amendment, pieces that did not change stay what they are; the others are withdrawn and made anew.
    Raises Conflict where the case is not accepted, is on hold, holds nothing new, an implant is unknown (V05) or not
    confirmed by a second person (V06), or a piece has no fitting route.
    """
    laboratory_only(actor)
    lock(case)
    _check(case)
    live = {_place(item): item for item in live_items(case)}
    wanted = {_place(item): item for item in case.current.items.all()} if case.current else {}
    kept = [piece for place, piece in live.items() if place in wanted and unchanged(piece, wanted[place])]
    withdrawn = [piece for piece in live.values() if piece not in kept]
    for piece in withdrawn:
        move(piece, WorkItem.State.WITHDRAWN, verb="withdrawn", actor=actor, moves=MOVES)
    WorkItem.objects.filter(pk__in=[piece.pk for piece in kept]).update(prescription=case.current)
    made = _make(case, [item for place, item in wanted.items() if place not in {_place(piece) for piece in kept}])
    _fit_again(kept, made)
    _record(actor, case, made=made, kept=kept, withdrawn=withdrawn)
    if case.state == Case.State.ACCEPTED:
        advance(case, Case.State.RELEASED, verb="released", actor=actor)
    finish_if_through(case, actor)
    return live_items(case)


def live_items(case: Case) -> list[WorkItem]:
    """The pieces of a case that are not withdrawn, by line."""
    return list(case.work_items.exclude(state=WorkItem.State.WITHDRAWN).order_by("line"))


def _check(case: Case) -> None:
    state = Case.State(case.state).label.lower()
    if case.on_hold:
        raise refuse("hold", f"{case} is on hold (“{case.hold_reason}”). Resume it first.", "case", kind=Conflict)
    if case.state in ON_THE_FLOOR and not amended(case):
        raise refuse("state", f"{case} was released already, and nothing changed since.", "case", kind=Conflict)
    if case.state not in ON_THE_FLOOR | {Case.State.ACCEPTED}:
        raise refuse("state", f"{case} is {state}. Only an accepted case is released.", "case", kind=Conflict)
    ready_to_make(case)
    if items := unconfirmed(case):
        raise Conflict(_second_look(case, item) for item in items)


def _second_look(case: Case, item: Item) -> Fault:
    tooth, kind = teeth.shown(item.tooth, case.practice.notation), Kind(item.kind).label.lower()
    why = f"V06: Nobody confirmed the implant of the {kind} on {tooth}. A second person reads it again first."
    return Fault("V06", why, "case")


def _place(item: Item | WorkItem) -> Place:
    """What tells the pieces of a prescription apart: one piece of a kind per tooth."""
    return item.tooth, item.kind


def unchanged(piece: WorkItem, item: Item) -> bool:
    """Whether the piece is still what was ordered."""
    before = Item.objects.get(prescription=piece.prescription_id, tooth=piece.tooth, kind=piece.kind)
    return all(getattr(before, fact) == getattr(item, fact) for fact in FACTS)


def _make(case: Case, items: Iterable[Item]) -> list[WorkItem]:
    line = max(case.work_items.values_list("line", flat=True), default=0)
    made = []
    for line, item in enumerate(items, start=line + 1):  # noqa: B020 - goes on behind the last line
        if line > MOST_PIECES:
            why = f"{case} has had {MOST_PIECES} pieces, and there is no code left. Cancel it and open a new case."
            raise refuse("line", why, "case", kind=Conflict)
        made.append(_piece(case, item, line))
    return made


def _piece(case: Case, item: Item, line: int) -> WorkItem:
    facts = {name: getattr(item, name) for name in ("prescription", "kind", "tooth", "material", "shade")}
    route = route_for(item)
    piece = WorkItem.objects.create(
        case=case, line=line, code=code_of(case, line), route=route, released_at=timezone.now(), **facts
    )
    steps = [WorkStep(item=piece, plan=plan, station_id=plan.station_id, seq=plan.seq) for plan in route.steps.all()]
    WorkStep.objects.bulk_create(steps)
    return piece


def _fit_again(kept: Iterable[WorkItem], made: Iterable[WorkItem]) -> None:
    """A crown that was fitted to an abutment which is made anew is fitted again, from its joining step on."""
    teeth = {piece.tooth for piece in made if piece.kind == "abutment"}
    for crown in kept:
        join = crown.steps.filter(plan__joins=True).order_by("seq").first() if crown.tooth in teeth else None
        if join is None:
            continue
        begun = crown.steps.filter(seq__gte=join.seq).exclude(state=WorkStep.State.WAITING)
        nothing = dict.fromkeys(("started_at", "started_by", "done_at", "done_by"))
        begun.update(state=WorkStep.State.WAITING, attempt=F("attempt") + 1, **nothing)


def _record(actor: User, case: Case, **pieces: list[WorkItem]) -> None:
    facts: Mapping[str, list[str]] = {name: [piece.code for piece in those] for name, those in pieces.items() if those}
    version = case.current.version if case.current else None
    audit.record(case, "laid out", actor, after={"prescription": version, **facts})
