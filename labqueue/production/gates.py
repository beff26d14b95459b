"""What must hold before a piece may be scanned at a station. Each refusal says what would be right."""

from labqueue.base.errors import Conflict, Refusal, refuse
from labqueue.production.models import Scan, Station, WorkItem, WorkStep
from labqueue.production.routing import may_fire
from orders.choices import Wanted
from orders.models import Case
from orders.talk.reads import approved

THROUGH = (Station.Kind.QUALITY, Station.Kind.PACKING)
CLOSED = frozenset({Case.State.PACKED, Case.State.SHIPPED})


def no(code: str, sentence: str, field: str = "code") -> Refusal:
    """The refusal of a scan that the state does not allow."""
    return refuse(code, sentence, field, kind=Conflict)


def check_piece(piece: WorkItem) -> None:
    """Raise Conflict where the piece, or its case, is not to be worked on at all now.

    What has begun may end, whatever became of the case meanwhile: work that was done is not undone by refusing it.
    """
    case = piece.case
    if case.state == Case.State.CANCELLED:
        raise no("cancelled", f"{case} was cancelled. Take {piece} off the floor.")
    if piece.state == WorkItem.State.WITHDRAWN:
        raise no("withdrawn", f"{piece} was withdrawn. {_instead(piece)}")
    if piece.state == WorkItem.State.DONE or case.state in CLOSED:
        raise no("finished", f"{piece} is finished: {case} is {_shown(case)}. There is nothing more to scan.")
    if not piece.steps.filter(state=WorkStep.State.RUNNING).exists():
        _check_standstill(piece, case)


def _check_standstill(piece: WorkItem, case: Case) -> None:
    if case.on_hold:
        raise no("hold", f"{case} is on hold (“{case.hold_reason}”). Put the piece aside until it is resumed.")
    if piece.prescription_id != case.current_id:
        raise no(
            "amended", f"The prescription of {case} was changed. The lab manager must release the new version first."
        )


def _shown(case: Case) -> str:
    return Case.State(case.state).label.lower()


def _instead(piece: WorkItem) -> str:
    live = piece.case.work_items.exclude(state=WorkItem.State.WITHDRAWN)
    new = live.filter(tooth=piece.tooth, kind=piece.kind).first()
    return f"It is made anew as {new.code}." if new else "The prescription no longer has it."


def step_at(piece: WorkItem, station: Station) -> WorkStep:
    """The step of the piece that is next, which must be at `station`. Raises Conflict naming the right station."""
    if not may_fire(piece.material, station):
        furnace = station.get_kind_display().lower()
        raise no("V02", f"V02: {piece.get_material_display()} must not go into a {furnace}.")
    step = piece.steps.exclude(state=WorkStep.State.DONE).select_related("plan", "station").order_by("seq").first()
    if step is None:
        raise no("finished", f"{piece} has no step left. There is nothing more to scan.")
    if step.station_id != station.pk:
        now = "is in work at" if step.state == WorkStep.State.RUNNING else "goes next to"
        raise no("station", f"{piece} {now} {step.station.name}, not {station.name}.", "station")
    step.item = piece
    return step


def action_for(step: WorkStep, action: str | None) -> str:
    """What the scan does: as it says, or start where the step waits and done where it runs. Raises Conflict."""
    running = step.state == WorkStep.State.RUNNING
    if action is None:
        return Scan.Action.DONE if running else Scan.Action.START
    if action == Scan.Action.START and running:
        raise no("started", f"{step.item} is in work at {step.station.name} already. Scan done when it is.", "action")
    if action == Scan.Action.DONE and not running:
        raise no("waiting", f"{step.item} was not started at {step.station.name}. Scan start first.", "action")
    return action


def check_start(step: WorkStep) -> None:
    """Raise Conflict where the step cannot begin yet: its abutment is not through, its design is not approved, or the
    case is not finished."""
    if step.plan.joins:
        _check_abutment(step.item)
    if step.station.kind == Station.Kind.MILL:
        _check_approval(step.item.case)
    if step.station.kind == Station.Kind.PACKING and step.item.case.state != Case.State.FINISHED:
        other = _unfinished(step.item)
        where = f" {other.item} is at {other.station.name}." if other else ""
        raise no("unfinished", f"{step.item.case} is packed as a whole when all its pieces are through.{where}")


def _check_approval(case: Case) -> None:
    if case.current is not None and case.current.approval == Wanted.YES and not approved(case):
        why = f"{case} is milled once the practice has approved its design. Show the design on the page of the case."
        raise no("approval", why)


def _check_abutment(crown: WorkItem) -> None:
    steps = WorkStep.objects.filter(item__case=crown.case_id, item__tooth=crown.tooth, item__kind="abutment")
    left = steps.filter(item__state=WorkItem.State.OPEN).exclude(state=WorkStep.State.DONE)
    step = left.exclude(station__kind__in=THROUGH).select_related("item", "station").order_by("seq").first()
    if step is not None:
        raise no("join", f"The crown waits for its abutment {step.item.code}, which is at {step.station.name}.")


def _unfinished(piece: WorkItem) -> WorkStep | None:
    steps = WorkStep.objects.filter(item__case=piece.case_id).exclude(item__state=WorkItem.State.WITHDRAWN)
    left = steps.exclude(state=WorkStep.State.DONE).exclude(station__kind=Station.Kind.PACKING)
    return left.select_related("item", "station").order_by("item__line", "seq").first()
