"""Scan a piece at a station: the one way in which work moves on the floor."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import Max, Q
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Conflict, refuse
from labqueue.base.models import User
from labqueue.base.moves import move
from labqueue.production import lots
from labqueue.production.finish import finish_if_through
from labqueue.production.gates import action_for, check_piece, check_start, step_at
from labqueue.production.models import Scan, ScanKey, Station, WorkItem, WorkStep
from labqueue.production.people import laboratory_only
from labqueue.production.pieces import MOVES, piece_by
from labqueue.production.stations import named_station
from orders import doors, words
from orders.models import Case

# A scanner that triggers twice does so within this time.
DOUBLE_TRIGGER = timedelta(seconds=10)
# A scan is sent within this time of its happening; what claims to be older, or still to come, has a wrong clock.
LATEST = timedelta(days=1)
# From here on the distance between the clocks, or the delay, is noted in the trail.
NOTABLE_SKEW = timedelta(minutes=5)


@dataclass(frozen=True)
class ScanResult:
    """What a scan did. `repeated`: it was counted before, and this time nothing was written."""

    scan: Scan
    repeated: bool

    @property
    def item(self) -> WorkItem:
        """The piece."""
        return self.scan.item

    @property
    def case(self) -> Case:
        """The case of the piece."""
        return self.scan.item.case

    @property
    def tooth(self) -> dict[str, str]:
        """Its tooth for people, as the part `tooth.html` takes it."""
        return words.tooth(self.item.tooth, self.case.practice)

    @property
    def then(self) -> Station | None:
        """The station after this step, or None after the last."""
        later = (
            self.scan.item.steps.filter(seq__gt=self.scan.step.seq).select_related("station").order_by("seq").first()
        )
        return later.station if later else None


@dataclass(frozen=True)
class Trigger:
    """A scan as it came from the device. `occurred_at` is by its clock, `received_at` by ours."""

    actor: User
    key: UUID
    station: Station
    action: str | None
    occurred_at: datetime
    received_at: datetime

    @property
    def skew(self) -> timedelta:
        """How far the device's time lies behind ours: negative where its clock runs ahead."""
        return self.received_at - self.occurred_at

    @property
    def at(self) -> datetime:
        """When it happened as far as that can be believed: by the device's clock, else when it came in."""
        return self.occurred_at if timedelta(0) <= self.skew <= LATEST else self.received_at


def scan(
    actor: User, *, key: UUID, code: str, station: str, action: str | None = None, occurred_at: datetime | None = None
) -> ScanResult:
    """Start the piece's next step, or end the one that runs; without `action` whichever of the two is due.

    `key` is made by the device: the same key again, even at the same moment, gives the same result and counts once. A
    second trigger within ten seconds under a new key counts once, too. `occurred_at` is when it happened by the
    device's clock, kept as it was given; now where it is missing. The step's own times are taken from it only as far
    as it can be true: see `Trigger.at` and `_moment`.

    Raises Refusal for what cannot be read, Conflict for what the state of the piece does not allow; nothing is written.
    """
    laboratory_only(actor)
    if action is not None and action not in Scan.Action.values:
        raise refuse("action", f"“{action[:20]}” is no action. Say start, done, or nothing.", "action")
    now = timezone.now()
    trigger = Trigger(actor, key, named_station(station), action, occurred_at or now, now)
    piece = piece_by(code)
    try:
        return _take(trigger, piece)
    except IntegrityError:
        # The key was written a moment ago for another piece: the lock of the case could not make us wait for that.
        known = _known(trigger, piece)
        if known is None:
            raise
        return known


@transaction.atomic
def _take(trigger: Trigger, piece: WorkItem) -> ScanResult:
    """Under the lock of the case: answer what was counted already, else count it."""
    case = doors.lock(piece.case)
    piece.refresh_from_db(fields=["state", "prescription"])
    piece.case = case
    known = _known(trigger, piece) or _second_trigger(trigger, piece)
    if known:
        return known
    check_piece(piece)
    step = step_at(piece, trigger.station)
    action = action_for(step, trigger.action)
    return ScanResult(_start(trigger, step) if action == Scan.Action.START else _end(trigger, step), repeated=False)


def result_of(key: UUID) -> ScanResult | None:
    """What was counted under that key, or None."""
    scans = Scan.objects.filter(Q(key=key) | Q(keys__key=key))
    people = scans.select_related("item__case__practice", "item__case__outlook", "step__plan", "station", "by")
    found = people.first()
    return ScanResult(found, repeated=True) if found else None


def _known(trigger: Trigger, piece: WorkItem) -> ScanResult | None:
    found = result_of(trigger.key)
    if found and (found.item.pk, found.scan.station_id) != (piece.pk, trigger.station.pk):
        why = f"This key was used for another scan, of {found.item} at {found.scan.station.name}. Send a fresh key."
        raise refuse("key", why, "key", kind=Conflict)
    return found


def _second_trigger(trigger: Trigger, piece: WorkItem) -> ScanResult | None:
    """The scan of which this one is an echo; its key is kept, so that it stays one however late it is sent again."""
    last = piece.scans.order_by("-id").first()
    if last is None or last.station_id != trigger.station.pk or trigger.action not in (None, last.action):
        return None
    if abs(trigger.occurred_at - last.occurred_at) >= DOUBLE_TRIGGER:
        return None
    ScanKey.objects.create(key=trigger.key, scan=last)
    return result_of(trigger.key)


def _start(trigger: Trigger, step: WorkStep) -> Scan:
    check_start(step)
    lot = lots.lot_for(step)
    _set(step, WorkStep.State.RUNNING, started_at=_moment(trigger, step), started_by=trigger.actor)
    scan = _write(trigger, step, Scan.Action.START, lot=lot.number if lot else None)
    if lot:
        lots.take(step, lot)
    return scan


def _end(trigger: Trigger, step: WorkStep) -> Scan:
    _set(step, WorkStep.State.DONE, done_at=_moment(trigger, step), done_by=trigger.actor)
    scan = _write(trigger, step, Scan.Action.DONE)
    if step.station.kind == Station.Kind.PACKING:
        move(step.item, WorkItem.State.DONE, verb="packed", actor=trigger.actor, moves=MOVES)
    finish_if_through(step.item.case, trigger.actor)
    return scan


def _moment(trigger: Trigger, step: WorkStep) -> datetime:
    """The instant for the step: no earlier than its own start, the end of the steps before it, and its release."""
    before = step.item.steps.filter(seq__lt=step.seq).aggregate(last=Max("done_at"))["last"]
    return max(at for at in (trigger.at, step.started_at, before, step.item.released_at) if at)


def _set(step: WorkStep, to: str, **changes: object) -> None:
    """Compare-and-set: the step moves on only from where it was seen."""
    seen = WorkStep.objects.filter(pk=step.pk, state=step.state, attempt=step.attempt)
    if seen.update(state=to, **changes) != 1:
        why = f"{step.item} was scanned by somebody else a moment ago. Look again."
        raise refuse("state", why, "code", kind=Conflict)


def _write(trigger: Trigger, step: WorkStep, action: Scan.Action, lot: str | None = None) -> Scan:
    after = {"piece": step.item.code, "step": step.plan.name, "attempt": step.attempt, "action": action, "lot": lot}
    skew = {"skew": round(trigger.skew.total_seconds())} if abs(trigger.skew) > NOTABLE_SKEW else {}
    audit.record(step.item.case, "scanned", trigger.actor, after={**after, "station": trigger.station.code, **skew})
    scan = Scan.objects.create(
        key=trigger.key,
        item=step.item,
        step=step,
        station=trigger.station,
        attempt=step.attempt,
        action=action,
        by=trigger.actor,
        occurred_at=trigger.occurred_at,
        received_at=trigger.received_at,
    )
    ScanKey.objects.create(key=trigger.key, scan=scan)
    return scan
