"""Due dates: counted on days, in the zones of those who work on them."""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import pytest
import time_machine
from hypothesis import given
from hypothesis import strategies as st

from labqueue.base.models import ClosedDay
from labqueue.base.workdays import MONDAY_TO_FRIDAY, Workdays, at
from orders import due
from orders.makes import LAB_DAYS, Make
from tests import cast

YORK = ZoneInfo("America/New_York")
LISBON = ZoneInfo("Europe/Lisbon")
KIRITIMATI = ZoneInfo("Pacific/Kiritimati")
CROWN = [Make.ZIRCONIA_SCREW_CROWN]  # five working days


def way(
    closed: set[date] | None = None,
    week: frozenset[int] = MONDAY_TO_FRIDAY,
    zone: ZoneInfo = YORK,
    transit_days: int = 1,
) -> due.Way:
    """A way to a practice beside the laboratory, one night away."""
    return due.Way(Workdays(closed=closed or set()), YORK, Workdays(week=week), zone, transit_days)


def local(year: int, month: int, day: int, hour: int = 9, minute: int = 0) -> datetime:
    """An instant by the laboratory's clock."""
    return datetime(year, month, day, hour, minute, tzinfo=YORK)


def leaves(found: datetime) -> str:
    """An instant by the laboratory's clock, as text."""
    return f"{found.astimezone(YORK):%a %d %b %H:%M}"


def test_back_from_a_thursday() -> None:
    """There on Wednesday noon, so picked up on Tuesday."""
    assert leaves(due.leave_by(way(), date(2031, 3, 13))) == "Tue 11 Mar 16:30"


@pytest.mark.parametrize(
    ("seat", "found"),
    [
        (date(2031, 3, 10), "Thu 06 Mar 16:30"),  # Monday: there on Friday
        (date(2031, 3, 11), "Fri 07 Mar 16:30"),  # Tuesday: there on Monday, the box is on its way over the weekend
        (date(2031, 3, 14), "Wed 12 Mar 16:30"),
    ],
)
def test_back_over_a_weekend(seat: date, found: str) -> None:
    assert leaves(due.leave_by(way(), seat)) == found


def test_back_past_the_practices_closed_weekdays() -> None:
    """Closed on Friday and Monday: for a Tuesday the box must be there on Thursday."""
    closed_twice = frozenset({1, 2, 3})
    assert leaves(due.leave_by(way(week=closed_twice), date(2031, 3, 11))) == "Wed 05 Mar 16:30"


def test_back_past_the_laboratorys_closed_days() -> None:
    assert leaves(due.leave_by(way(closed={date(2031, 3, 11)}), date(2031, 3, 13))) == "Mon 10 Mar 16:30"


@pytest.mark.parametrize(("days", "found"), [(2, "Mon 10 Mar 16:30"), (3, "Fri 07 Mar 16:30")])
def test_a_long_way_takes_working_days(days: int, found: str) -> None:
    assert leaves(due.leave_by(way(transit_days=days), date(2031, 3, 13))) == found


def test_a_short_way_still_leaves_the_day_before() -> None:
    """The pick-up is after the noon at which the box must be there."""
    assert due.leave_by(way(transit_days=0), date(2031, 3, 13)) == due.leave_by(way(), date(2031, 3, 13))


def test_a_pick_up_keeps_its_clock_time_when_clocks_change() -> None:
    before, after = due.leave_by(way(), date(2031, 3, 11)), due.leave_by(way(), date(2031, 3, 12))
    assert (before.astimezone(UTC).hour, after.astimezone(UTC).hour) == (21, 20)
    assert (leaves(before), leaves(after)) == ("Fri 07 Mar 16:30", "Mon 10 Mar 16:30")


@pytest.mark.parametrize(
    ("now", "found"),
    [
        (local(2031, 3, 5, 11, 59), "Wed 12 Mar 16:30"),
        (local(2031, 3, 5, 12, 0), "Thu 13 Mar 16:30"),
        (local(2031, 3, 7, 18, 0), "Mon 17 Mar 16:30"),  # Friday evening counts from Monday
        (local(2031, 3, 8, 9, 0), "Mon 17 Mar 16:30"),  # Saturday as well
    ],
)
def test_forward_from_the_complete_order(now: datetime, found: str) -> None:
    assert leaves(due.earliest_leave(way(), CROWN, now)) == found


def test_forward_past_closed_days() -> None:
    closed = {date(2031, 3, 6), date(2031, 3, 7)}
    assert leaves(due.earliest_leave(way(closed=closed), CROWN, local(2031, 3, 5))) == "Fri 14 Mar 16:30"


@pytest.mark.parametrize("make", list(Make))
def test_each_make_has_its_days(make: Make) -> None:
    found = due.earliest_leave(way(), [make], local(2031, 3, 3))
    assert found.astimezone(YORK).date() == Workdays().shift(date(2031, 3, 3), LAB_DAYS[make])


def test_a_case_takes_as_long_as_its_slowest_piece() -> None:
    makes = [Make.RESIN_CROWN, Make.LAYERED_CROWN, Make.ZIRCONIA_CROWN]
    assert due.earliest_leave(way(), makes, local(2031, 3, 3)) == due.earliest_leave(
        way(), [Make.LAYERED_CROWN], local(2031, 3, 3)
    )


def test_without_appointment_the_usual_days_are_promised() -> None:
    promise = due.promise_for(way(), None, CROWN, local(2031, 3, 5))
    assert (leaves(promise.due_at), promise.tight, promise.conflict) == ("Wed 12 Mar 16:30", False, "")
    assert promise.due_at == promise.earliest


def test_enough_time_is_no_conflict() -> None:
    promise = due.promise_for(way(), local(2031, 3, 14, 14), CROWN, local(2031, 3, 5))
    assert (leaves(promise.due_at), promise.tight) == ("Wed 12 Mar 16:30", False)


@time_machine.travel("2031-03-05T14:00:00Z")
def test_one_day_less_is_a_conflict_with_ways_out() -> None:
    promise = due.promise_for(way(), local(2031, 3, 13, 14), CROWN, local(2031, 3, 5))
    assert promise.tight
    assert promise.conflict == (
        "For this appointment the case must leave the laboratory on Tue 11 Mar, 16:30; with the usual working days it "
        "leaves on Wed 12 Mar, 16:30. Ways out: move the appointment to Fri 14 Mar or later; order a rush (then it "
        "holds); collect the case yourself (then it holds)."
    )


def test_the_day_of_the_appointment_is_the_practices() -> None:
    """23:30 in New York is already the next day in Lisbon."""
    seat = local(2031, 3, 12, 23, 30)
    here, there = (due.promise_for(way(zone=zone), seat, CROWN, local(2031, 3, 3)).due_at for zone in (YORK, LISBON))
    assert (leaves(here), leaves(there)) == ("Mon 10 Mar 16:30", "Tue 11 Mar 16:30")


def test_an_appointment_in_time_has_no_fault() -> None:
    now, seat = local(2031, 3, 11, 16), local(2031, 3, 13, 14)
    assert due.seat_faults(due.promise_for(way(), seat, CROWN, now), seat, now) == []


@time_machine.travel("2031-03-11T20:30:00Z")
def test_an_appointment_for_which_the_pick_up_has_gone() -> None:
    now, seat = local(2031, 3, 11, 16, 30), local(2031, 3, 13, 14)
    (fault,) = due.seat_faults(due.promise_for(way(), seat, CROWN, now), seat, now)
    assert fault.field == "seat_at"
    assert fault.message == (
        "For an appointment on Thu 13 Mar, 14:00 the case had to leave the laboratory on Tue 11 Mar, 16:30. The first "
        "day that the usual working days allow is Fri 21 Mar."
    )


def test_no_appointment_has_no_fault() -> None:
    now = local(2031, 3, 11)
    assert due.seat_faults(due.promise_for(way(), None, CROWN, now), None, now) == []


DAYS = st.dates(date(2026, 1, 1), date(2040, 12, 31))
WEEKS = st.sets(st.integers(0, 6), min_size=1).map(frozenset)
WAYS = st.builds(
    way,
    closed=st.sets(DAYS, max_size=20),
    week=WEEKS,
    zone=st.sampled_from([YORK, LISBON, KIRITIMATI]),
    transit_days=st.integers(0, 3),
)


@given(WAYS, DAYS)
def test_a_box_is_there_before_the_appointment(found: due.Way, seat: date) -> None:
    there = at(seat, time(12), found.practice_zone)
    leave = due.leave_by(found, seat)
    assert leave < there
    assert found.laboratory.is_open(leave.astimezone(YORK).date())


@given(WAYS, st.datetimes(datetime(2026, 1, 1), datetime(2040, 12, 1), timezones=st.just(UTC)))  # noqa: DTZ001
def test_the_first_seat_day_is_the_first(found: due.Way, now: datetime) -> None:
    earliest = due.earliest_leave(found, CROWN, now)
    day = due.first_seat_day(found, earliest)
    before = found.practice.shift(day, -1)
    assert found.practice.is_open(day)
    assert due.leave_by(found, day) >= earliest
    assert due.leave_by(found, before) < earliest or before < earliest.astimezone(found.practice_zone).date()


@pytest.mark.django_db
def test_the_way_knows_practice_and_closed_days() -> None:
    practice = cast.practice("southgate", weekdays="0123", transit_days=2, time_zone="Europe/Lisbon")
    ClosedDay.objects.create(day=date(2031, 3, 7), name="Stocktaking")
    found = due.way_to(practice)
    assert (found.practice.week, found.practice_zone, found.transit_days) == (frozenset({0, 1, 2, 3}), LISBON, 2)
    assert not found.laboratory.is_open(date(2031, 3, 7))
    assert found.lab_zone == YORK


@pytest.mark.parametrize(
    ("back", "found"),
    [
        (local(2031, 3, 5, 17), "Wed 12 Mar 16:30"),
        (local(2031, 3, 6), "Thu 13 Mar 16:30"),
        (local(2031, 3, 8), "Fri 14 Mar 16:30"),
        (local(2031, 3, 12), "Wed 19 Mar 16:30"),
    ],
)
def test_a_hold_stops_the_clock(back: datetime, found: str) -> None:
    promised = due.earliest_leave(way(), CROWN, local(2031, 3, 5))
    assert leaves(due.after_hold(way(), promised, local(2031, 3, 5, 10), back)) == found
