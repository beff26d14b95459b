"""The pieces of a case: on the floor, and before a release those that it will make of the prescription."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime

from labqueue.planning.snapshot import Piece, Step
from labqueue.production.models import RouteStep, WorkItem
from labqueue.production.release import FACTS
from orders.materials import Kind
from orders.models import Case, Item

Routes = Mapping[str, tuple[Step, ...]]


def pieces_of(case: Case, routes: Routes) -> list[Piece]:
    """The pieces that stay what they are as far as they have come, and those still to be laid out from their start.

    Before the first release all are to be laid out; after an amendment that waits for its release, those that changed.
    The case comes with the items of its prescriptions fetched; every make has its route.
    """
    kept, made = kept_items(case), items_to_make(case)
    anew = {item.tooth for item in made if item.kind == Kind.ABUTMENT}
    line = max((item.line for item in case.work_items.all()), default=0)
    floor = [joined_again(on_floor(item), anew) for item in kept]
    return floor + [to_make(item, n, routes[item.make]) for n, item in enumerate(made, start=line + 1)]


def kept_items(case: Case) -> list[WorkItem]:
    """The work items that are still what is ordered."""
    wanted = {place(item): item for item in ordered_items(case)}
    return [item for item in case.work_items.all() if is_current(case, item) or is_same(item, wanted.get(place(item)))]


def items_to_make(case: Case) -> list[Item]:
    """The signed items that are not on the floor, or not as they are ordered now."""
    here = {place(item) for item in kept_items(case)}
    return [item for item in ordered_items(case) if place(item) not in here]


def ordered_items(case: Case) -> list[Item]:
    """The items of the signed prescription."""
    return list(case.current.items.all()) if case.current else []


def place(item: Item | WorkItem) -> tuple[int, str]:
    """What tells the pieces of a case apart."""
    return item.tooth, item.kind


def is_current(case: Case, item: WorkItem) -> bool:
    """Whether the floor makes the piece by the newest signed prescription."""
    return item.prescription_id == case.current_id


def is_same(item: WorkItem, wanted: Item | None) -> bool:
    """Whether the newer prescription asks for the piece as it was ordered."""
    before = next((old for old in item.prescription.items.all() if place(old) == place(item)), None)
    return bool(wanted and before) and all(getattr(before, fact) == getattr(wanted, fact) for fact in FACTS)


def to_make(item: Item, line: int, steps: tuple[Step, ...]) -> Piece:
    """An item of a prescription, as it will be made."""
    return Piece(line, item.kind, item.tooth, item.material, steps)


def on_floor(item: WorkItem) -> Piece:
    """A work item with the progress of its steps."""
    steps = list(item.steps.all())
    names = {step.plan.seq: step.plan.name for step in steps}
    progress = [planned(s.plan, names, s.station.code, started_at=s.started_at, done_at=s.done_at) for s in steps]
    return Piece(item.line, item.kind, item.tooth, item.material, tuple(progress), item.released_at)


def joined_again(piece: Piece, teeth: Iterable[int]) -> Piece:
    """A crown on a tooth whose abutment is made anew is fitted again: from its joining step on, nothing is begun."""
    join = next((n for n, step in enumerate(piece.steps) if step.joins), None)
    if join is None or piece.tooth not in teeth:
        return piece
    again = (replace(step, started_at=None, done_at=None) for step in piece.steps[join:])
    return replace(piece, steps=(*piece.steps[:join], *again))


def planned(step: RouteStep, names: Mapping[int, str], station: str, **progress: datetime | None) -> Step:
    """A step of a route with its progress; `names` are those of its route, by their place in it."""
    return Step(
        name=step.name,
        station=station,
        minutes=step.minutes,
        wait=step.wait,
        fail=step.fail_probability,
        back_to=None if step.back_to is None else names.get(step.back_to),
        joins=step.joins,
        **progress,
    )
