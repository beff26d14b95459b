"""When a case must leave the laboratory: counted back from the seat appointment, and forward from the complete order.

Only days are counted, in the zones of those who work on them; the clock times below are fixed.
"""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import NamedTuple, Protocol
from zoneinfo import ZoneInfo

from django.conf import settings
from django.utils import timezone

from labqueue.base.errors import Fault
from labqueue.base.models import ClosedDay
from labqueue.base.templatetags.house import day, moment
from labqueue.base.workdays import Workdays, at
from orders.choices import Delivery, Impression, Wanted
from orders.makes import LAB_DAYS, RUSH_DAYS, Make
from orders.models import Practice

# An order that is complete by then counts from the same day.
CUT_OFF = time(12)
PICK_UP = time(16, 30)
# How many working days of the practice before the appointment the box must be there, by noon.
SAFETY_DAYS = 1
# Beyond this many days an appointment is a slip of the pen, and near the ends of the calendar no day can be counted.
HORIZON_DAYS = 730


@dataclass(frozen=True)
class Way:
    """The two calendars between laboratory and chair, and how many days the box is on its way."""

    laboratory: Workdays
    lab_zone: ZoneInfo
    practice: Workdays
    practice_zone: ZoneInfo
    transit_days: int = 1


class Wishes(Protocol):
    """What an order says of its date and its pace: facts and prescriptions alike."""

    @property
    def seat_at(self) -> datetime | None:
        """The appointment, if there is one."""

    @property
    def impression(self) -> str:
        """How the position of the implant comes."""

    @property
    def approval(self) -> str:
        """Whether the design is to be approved."""

    @property
    def rush(self) -> bool:
        """Whether it is quicker than usual."""

    @property
    def delivery(self) -> str:
        """How the case leaves."""


class Terms(NamedTuple):
    """What makes an order quicker or slower than usual."""

    rush: bool = False
    collected: bool = False
    # An impression is poured and scanned first; a design waits until it is approved.
    physical: bool = False
    approval: bool = False
    # How many working days were worked on it before the count begins.
    worked: int = 0

    def days(self, makes: Iterable[Make]) -> int:
        """Working days in the laboratory: those of the slowest piece, and one for each detour, less those worked."""
        table = RUSH_DAYS if self.rush else LAB_DAYS
        slowest = max((table[make] for make in makes), default=0)
        return max(0, slowest + self.physical + self.approval - self.worked)


USUAL = Terms()


class WayOut(NamedTuple):
    """One way to keep an appointment that is too early: what is to be done, and from which day on it holds then."""

    does: str
    terms: Terms
    seat_from: date
    holds: bool

    def __str__(self) -> str:
        return f"{self.does} (then {'it holds' if self.holds else f'it holds from {day(self.seat_from)} on'})"


@dataclass(frozen=True)
class Promise:
    """When the case leaves, the earliest that the usual working days allow, the first day for a seat after that, and
    the ways out where the appointment is before it."""

    due_at: datetime
    earliest: datetime
    seat_from: date
    ways_out: tuple[WayOut, ...] = ()

    @property
    def tight(self) -> bool:
        """Whether the appointment asks for fewer than the usual days."""
        return self.due_at < self.earliest

    @property
    def conflict(self) -> str:
        """What the practice must know before it signs, with the ways out; empty where the usual days are enough."""
        if not self.tight:
            return ""
        others = "".join(f"; {way}" for way in self.ways_out)
        return (
            f"For this appointment the case must leave the laboratory on {moment(self.due_at)}; with the usual working "
            f"days it leaves on {moment(self.earliest)}. Ways out: move the appointment to {day(self.seat_from)} or "
            f"later{others}."
        )


def way_to(practice: Practice) -> Way:
    """The way to that practice, with the closed days of the laboratory and of the practice. Two queries."""
    closed = frozenset(ClosedDay.objects.values_list("day", flat=True))
    away = frozenset(practice.closed_days.values_list("day", flat=True))
    week = frozenset(int(digit) for digit in practice.weekdays)
    zones = ZoneInfo(settings.TIME_ZONE), ZoneInfo(practice.time_zone)
    return Way(Workdays(closed=closed), zones[0], Workdays(week, away), zones[1], practice.transit_days)


def terms_of(order: Wishes) -> Terms:
    """The pace that an order asks for."""
    moulded = order.impression not in ("", Impression.SCAN)
    return Terms(
        rush=order.rush,
        collected=order.delivery == Delivery.COLLECTION,
        physical=moulded,
        approval=order.approval == Wanted.YES,
    )


def promise_for(
    way: Way, seat_at: datetime | None, makes: Iterable[Make], now: datetime, terms: Terms = USUAL
) -> Promise:
    """What can be promised for pieces of these makes that are complete `now`."""
    made = list(makes)
    earliest = earliest_leave(way, made, now, terms)
    first = first_seat_day(way, earliest, terms)
    if seat_at is None:
        return Promise(earliest, earliest, first)
    seat_day = seat_at.astimezone(way.practice_zone).date()
    due_at = leave_by(way, seat_day, terms)
    outs = tuple(ways_out(way, seat_day, made, now, terms)) if due_at < earliest else ()
    return Promise(due_at, earliest, first, outs)


def promise_of(way: Way, order: Wishes, makes: Iterable[Make], now: datetime) -> Promise:
    """What can be promised to an order that is complete `now`, at the pace that it asks for."""
    return promise_for(way, order.seat_at, makes, now, terms_of(order))


def ways_out(way: Way, seat_day: date, makes: Collection[Make], now: datetime, terms: Terms) -> Iterator[WayOut]:
    """What else would let an appointment hold than to move it: a rush, collecting the case, or both, each counted."""
    wishes = {"order a rush": terms._replace(rush=True), "collect the case yourself": terms._replace(collected=True)}
    single = [way_out(way, seat_day, makes, now, does, other) for does, other in wishes.items() if other != terms]
    yield from single
    if len(single) == len(wishes) and not any(one.holds for one in single):
        both = terms._replace(rush=True, collected=True)
        yield way_out(way, seat_day, makes, now, "order a rush and collect it yourself", both)


def way_out(way: Way, seat_day: date, makes: Collection[Make], now: datetime, does: str, terms: Terms) -> WayOut:
    """What these terms would do for the appointment."""
    leaves = earliest_leave(way, makes, now, terms)
    first = first_seat_day(way, leaves, terms)
    return WayOut(does, terms, first, holds=leave_by(way, seat_day, terms) >= leaves)


def leave_by(way: Way, seat_day: date, terms: Terms = USUAL) -> datetime:
    """Backward: there by noon one working day of the practice before the appointment, and picked up before that.

    The pick-up is in the afternoon, so even a short way begins a working day of the laboratory before. Who collects the
    case does so at the hour of the pick-up, on the laboratory's last working day up to that one.
    """
    there = way.practice.shift(seat_day, -SAFETY_DAYS)
    if not terms.collected:
        return pick_up(way, way.laboratory.shift(there, -max(1, way.transit_days)))
    while not way.laboratory.is_open(there):
        there -= timedelta(days=1)
    return pick_up(way, there)


def earliest_leave(way: Way, makes: Iterable[Make], now: datetime, terms: Terms = USUAL) -> datetime:
    """Forward: the usual working days of the slowest piece after the day on which the order is complete."""
    local = now.astimezone(way.lab_zone)
    first = local.date() + timedelta(days=0 if local.time() < CUT_OFF else 1)
    complete = way.laboratory.on_or_after(first)
    return pick_up(way, way.laboratory.shift(complete, terms.days(makes)))


def leaves_after(way: Way, packed: datetime, terms: Terms = USUAL) -> datetime:
    """The pick-up that takes along what is packed then, with a day more for each detour that the floor does not see."""
    local = packed.astimezone(way.lab_zone)
    day = way.laboratory.on_or_after(local.date() + timedelta(days=0 if local.time() <= PICK_UP else 1))
    return pick_up(way, way.laboratory.shift(day, terms.physical + terms.approval))


def complete_by(way: Way, makes: Iterable[Make], leaves: datetime, terms: Terms = USUAL) -> date:
    """The last day on which, before noon, all must be in the laboratory for a case that leaves then."""
    return way.laboratory.shift(leaves.astimezone(way.lab_zone).date(), -terms.days(makes))


def sent_by(way: Way, complete: date) -> date:
    """The last working day of the practice on which a parcel goes to the laboratory to be there on that morning."""
    gone = way.laboratory.shift(complete, -max(1, way.transit_days))
    while not way.practice.is_open(gone):
        gone -= timedelta(days=1)
    return gone


def first_seat_day(way: Way, leaves: datetime, terms: Terms = USUAL) -> date:
    """The first working day of the practice on which a case that leaves then can be seated."""
    day = way.practice.on_or_after(leaves.astimezone(way.practice_zone).date())
    while leave_by(way, day, terms) < leaves:
        day = way.practice.shift(day, 1)
    return day


def pick_up(way: Way, day: date) -> datetime:
    """The instant of the courier's pick-up on that day."""
    return at(day, PICK_UP, way.lab_zone)


def after_hold(way: Way, due_at: datetime, held_since: datetime, now: datetime) -> datetime:
    """A due date without appointment after a hold: later by the laboratory's working days that passed."""
    days = sum(map(way.laboratory.is_open, days_after(way, held_since, now)))
    return pick_up(way, way.laboratory.shift(due_at.astimezone(way.lab_zone).date(), days))


def days_after(way: Way, since: datetime, until: datetime) -> list[date]:
    """The dates in the laboratory after that of `since`, up to that of `until`."""
    first, last = (one.astimezone(way.lab_zone).date() for one in (since, until))
    return [first + timedelta(days=n) for n in range(1, (last - first).days + 1)]


def far_faults(seat_at: datetime | None, now: datetime) -> list[Fault]:
    """An appointment years away, ahead or behind. To be asked before anything is counted from `seat_at`."""
    if seat_at is None or abs(seat_at - now) <= timedelta(days=HORIZON_DAYS):
        return []
    last = f"{timezone.localtime(now + timedelta(days=HORIZON_DAYS)):%Y-%m-%d}"
    return [Fault("far", f"Give an appointment between now and {last}, or none if there is none yet.", "seat_at")]


def seat_faults(promise: Promise, seat_at: datetime | None, now: datetime) -> list[Fault]:
    """An appointment for which the case would have had to leave already is no date to promise."""
    if seat_at is None or promise.due_at > now:
        return []
    past = f"The appointment on {moment(seat_at)} has passed."
    gone = f"For an appointment on {moment(seat_at)} the case had to leave the laboratory on {moment(promise.due_at)}."
    wanted = f"The first day that the usual working days allow is {day(promise.seat_from)}."
    return [Fault("due", f"{past if seat_at <= now else gone} {wanted}", "seat_at")]
