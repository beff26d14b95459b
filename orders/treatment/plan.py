"""Both appointments of a treatment, planned together: the provisional's and that of the final after it."""

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from django.db import transaction
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Conflict, Fault, Refusal, refuse
from labqueue.base.models import User
from labqueue.base.templatetags.house import moment
from orders import due
from orders.doors import lock, own_case
from orders.makes import Make
from orders.materials import Kind, Stage
from orders.models import Case
from orders.treatment.evaluate import TRIAL

# While its dates are still counted from today.
NOT_BEGUN = frozenset({Case.State.DRAFT, Case.State.SIGNED})
# How long the tissue usually takes until it no longer moves.
SETTLED = timedelta(days=42)
# A final is planned before its material is chosen: as the piece is usually made, the slowest of what is usual.
USUAL_FINAL = {
    Kind.ABUTMENT: Make.METAL_ABUTMENT,
    Kind.CROWN: Make.ZIRCONIA_CROWN,
    Kind.SCREW_CROWN: Make.ZIRCONIA_SCREW_CROWN,
}


@dataclass(frozen=True)
class Appointment:
    """One of the two: when it is (None: not planned), the last days for it on which a scan is sent before noon or an
    impression is handed to the courier, and the first day that the usual working days allow. Of what is being made, the
    promise counts, and these are None."""

    stage: str
    seat_at: datetime | None
    scan_by: date | None
    impression_by: date | None
    seat_from: date | None


@transaction.atomic
def plan(actor: User, case: Case, final_seat_at: datetime | None) -> Case:
    """Keep when the final of this provisional is to be seated; None takes the plan back.

    Raises Conflict for a case that is no provisional or was cancelled, Refusal with what would be possible.
    """
    lock(case)
    own_case(actor, case)
    if case.stage != Stage.PROVISIONAL or case.state == Case.State.CANCELLED:
        raise refuse("stage", f"{case} is no provisional that a final can be planned for.", kind=Conflict)
    if faults := final_faults(case, final_seat_at):
        raise Refusal(faults)
    before, case.final_seat_at = case.final_seat_at, final_seat_at
    case.save(update_fields=["final_seat_at"])
    audit.record(case, "final planned", actor, before={"final_seat_at": before}, after={"final_seat_at": final_seat_at})
    return case


def final_faults(case: Case, final_seat_at: datetime | None) -> list[Fault]:
    """A final follows its provisional, is ahead, and within what can be counted. When tissue has settled is decided by
    who sees it; the page only says what is usual."""
    if final_seat_at is None:
        return []
    now = timezone.now()
    if far := due.far_faults(final_seat_at, now):
        return [Fault(one.code, one.message, "final_seat_at") for one in far]
    first = max(now, seating(case) or now)
    if final_seat_at > first:
        return []
    why = f"The final follows the provisional. Plan it for after {moment(first)}."
    return [Fault("final_seat_at", why, "final_seat_at")]


def seating(case: Case) -> datetime | None:
    """When the provisional is seated: as signed, before that as in the draft; never before it has left."""
    shown = case.shown
    known = [case.seat_at or (shown.seat_at if shown else None), case.shipped_at]
    return max((at for at in known if at), default=None)


def trial_over(case: Case) -> datetime | None:
    """The first moment for a final; None while there is no appointment for the provisional."""
    seated = seating(case)
    return seated + TRIAL if seated else None


def is_early(case: Case) -> bool:
    """Whether the final is planned before tissue usually no longer moves."""
    seated = seating(case)
    return bool(seated and case.final_seat_at and case.final_seat_at < seated + SETTLED)


def appointments(case: Case, final_seat_at: datetime | None, now: datetime) -> list[Appointment]:
    """The provisional's and the final's, counted over the calendars of laboratory and practice. Three queries."""
    way, shown = due.way_to(case.practice), case.shown
    assert shown is not None
    terms = due.terms_of(shown)
    later = [USUAL_FINAL[Kind(item.kind)] for item in shown.items.all()]
    first = appointment(way, case.stage, seating(case), shown.makes, now, terms)
    final = appointment(way, Stage.FINAL, final_seat_at, later, now, terms._replace(rush=False))
    trial = (trial_over(case) or now + TRIAL).astimezone(way.practice_zone).date()
    if case.state not in NOT_BEGUN:
        first = replace(first, scan_by=None, impression_by=None, seat_from=None)
    return [first, replace(final, seat_from=max(final.seat_from or trial, way.practice.on_or_after(trial)))]


def appointment(
    way: due.Way, stage: str, seat_at: datetime | None, makes: list[Make], now: datetime, terms: due.Terms
) -> Appointment:
    """The days of one appointment."""
    promise = due.promise_for(way, seat_at, makes, now, terms)
    if seat_at is None:
        return Appointment(stage, None, None, None, promise.seat_from)
    scan_by = due.complete_by(way, makes, promise.due_at, terms._replace(physical=False))
    there = due.complete_by(way, makes, promise.due_at, terms._replace(physical=True))
    return Appointment(stage, seat_at, scan_by, due.sent_by(way, there), promise.seat_from)
