"""What others ask of the floor: queues, work in process, where the pieces of a case are. Query counts do not grow."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Exists, Max, OuterRef, Prefetch, Q, QuerySet

from labqueue.base.models import Event, User
from labqueue.production.gates import THROUGH
from labqueue.production.models import LotInUse, Station, WorkItem, WorkStep
from orders import words
from orders.models import Case, Outlook

FLOOR_STATES = (Case.State.RELEASED, Case.State.FINISHED)
DONE, RUNNING, WAITING = WorkStep.State.DONE, WorkStep.State.RUNNING, WorkStep.State.WAITING


@dataclass(frozen=True)
class Line:
    """One piece in the queue of a station. `stopped` says why it cannot be worked on now; empty where it can."""

    step: WorkStep
    stopped: str

    @property
    def is_stopped(self) -> bool:
        """Whether it stands among those that cannot be worked on."""
        return bool(self.stopped)

    @property
    def item(self) -> WorkItem:
        """The piece."""
        return self.step.item

    @property
    def case(self) -> Case:
        """Its case."""
        return self.step.item.case

    @property
    def due_at(self) -> datetime | None:
        """When its case must leave the laboratory."""
        return self.case.due_at

    @property
    def running(self) -> bool:
        """Whether somebody works on it."""
        return self.step.state == RUNNING

    @property
    def outlook(self) -> Outlook | None:
        """The forecast of its case, with its age."""
        return outlook_of(self.case)

    @property
    def tooth(self) -> dict[str, str]:
        """Its tooth for people, as the part `tooth.html` takes it."""
        return words.tooth(self.item.tooth, self.case.practice)


@dataclass(frozen=True)
class Load:
    """The pieces at one station: in work, and waiting for it."""

    station: Station
    waiting: int
    running: int

    @property
    def work_in_process(self) -> int:
        """Both together."""
        return self.waiting + self.running


@dataclass(frozen=True)
class Progress:
    """How far a piece is: steps done of all steps, and in words where it is now."""

    done: int
    steps: int
    where: str

    @property
    def share(self) -> float:
        """From 0 to 1."""
        return self.done / self.steps if self.steps else 0.0

    @property
    def text(self) -> str:
        """For people: `4 of 7 steps`."""
        return f"{self.done} of {self.steps} steps"


def outlook_of(case: Case) -> Outlook | None:
    """The last forecast of a case, or None while there is none."""
    return getattr(case, "outlook", None)


def next_steps() -> "QuerySet[WorkStep]":
    """The step that is next or running of every piece on the floor: all before it are done."""
    earlier = WorkStep.objects.filter(item=OuterRef("item"), seq__lt=OuterRef("seq")).exclude(state=DONE)
    open_steps = WorkStep.objects.exclude(state=DONE).filter(item__state=WorkItem.State.OPEN)
    return open_steps.filter(~Exists(earlier), item__case__state__in=FLOOR_STATES)


def in_work_of(user: User) -> "QuerySet[WorkStep]":
    """The steps that a person has in hand: running ones of open pieces on the floor, begun first comes first."""
    mine = next_steps().filter(state=RUNNING, started_by=user)
    return mine.select_related("plan", "station", "item__case__practice").order_by("started_at", "pk")


def queue(station: Station) -> list[Line]:
    """The pieces at a station: those that can be worked on, earliest due date first, then the stopped ones likewise."""
    related = ("plan", "station", "started_by", "item__case__practice", "item__case__outlook")
    steps = list(next_steps().filter(station=station).select_related(*related))
    blocked = _without_abutment(steps)
    lines = [Line(step, _why_stopped(step, blocked)) for step in steps]
    return sorted(lines, key=_order)


def _order(line: Line) -> tuple[bool, bool, float, str]:
    due = line.due_at
    return line.is_stopped, due is None, due.timestamp() if due else 0.0, line.item.code


def _why_stopped(step: WorkStep, blocked: "set[tuple[int, int]]") -> str:
    case = step.item.case
    if case.on_hold:
        return f"On hold: {case.hold_reason}"
    if step.item.prescription_id != case.current_id:
        return "The prescription was changed and is not released again"
    if step.state == WAITING and step.plan.joins and (case.pk, step.item.tooth) in blocked:
        return "Waits for its abutment"
    if step.state == WAITING and step.station.kind == Station.Kind.PACKING and case.state != Case.State.FINISHED:
        return "Waits for the other pieces of the case"
    return ""


def _without_abutment(steps: Iterable[WorkStep]) -> set[tuple[int, int]]:
    """(case, tooth) of which the abutment is not through yet."""
    cases = {step.item.case_id for step in steps if step.plan.joins}
    work = WorkStep.objects.filter(item__case__in=cases, item__kind="abutment", item__state=WorkItem.State.OPEN)
    left = work.exclude(state=DONE).exclude(station__kind__in=THROUGH)
    return set(left.values_list("item__case", "item__tooth"))


def loads() -> list[Load]:
    """Work in process of every station, in the order of the stations."""
    counts = (
        next_steps()
        .order_by()
        .values("station")
        .annotate(waiting=Count("pk", filter=Q(state=WAITING)), running=Count("pk", filter=Q(state=RUNNING)))
    )
    by_station = {row["station"]: row for row in counts}
    none = {"waiting": 0, "running": 0}
    found = [(station, by_station.get(station.pk, none)) for station in Station.objects.all()]
    return [Load(station, row["waiting"], row["running"]) for station, row in found]


def lots_in_use(station: Station) -> "QuerySet[LotInUse]":
    """The lots that are in use at a station."""
    return LotInUse.objects.filter(station=station).select_related("lot", "by").order_by("what")


def items_of(cases: Iterable[Case]) -> "QuerySet[WorkItem]":
    """The live work items of these cases with their steps, plans and stations, by case and line; three queries."""
    steps = WorkStep.objects.select_related("plan", "station").order_by("seq")
    live = WorkItem.objects.filter(case__in=list(cases)).exclude(state=WorkItem.State.WITHDRAWN)
    return live.select_related("route").prefetch_related(Prefetch("steps", steps)).order_by("case", "line")


def floor_of(case: Case) -> list[WorkItem]:
    """The live work items of one case with their steps; empty before it is released."""
    items = list(items_of([case]))
    for item in items:
        item.case = case
    return items


def progress(item: WorkItem) -> Progress:
    """How far a piece is whose steps are loaded."""
    steps = list(item.steps.all())
    left = [step for step in steps if step.state != DONE]
    if not left:
        return Progress(len(steps), len(steps), item.get_state_display())
    where = "In work at" if left[0].state == RUNNING else "Waits at"
    return Progress(len(steps) - len(left), len(steps), f"{where} {left[0].station.name}")


def version() -> int:
    """What the floor and its orders stand at: the number of the newest audit event, 0 where there is none."""
    newest: int | None = Event.objects.aggregate(newest=Max("pk"))["newest"]
    return newest or 0
