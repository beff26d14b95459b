"""What makes an order quicker or slower, and the ways out where an appointment is too early."""

from datetime import date, datetime, timedelta
from types import SimpleNamespace

import pytest
import time_machine
from hypothesis import given
from hypothesis import strategies as st

from orders import due
from orders.due import Terms
from orders.makes import LAB_DAYS, RUSH_DAYS, Make
from tests.orders.test_due import CROWN, WAYS, YORK, leaves, local, way

NOW = local(2031, 3, 5)


def wishes(**said: object) -> SimpleNamespace:
    """An order that says nothing of its pace but this."""
    given = {"impression": "", "approval": "no", "rush": False, "delivery": "", **said}
    return SimpleNamespace(**given)


@pytest.mark.parametrize(
    ("said", "terms"),
    [
        ({}, Terms()),
        ({"impression": "scan"}, Terms()),
        ({"impression": "open_tray"}, Terms(physical=True)),
        ({"impression": "closed_tray", "approval": "yes"}, Terms(physical=True, approval=True)),
        ({"rush": True, "delivery": "collection"}, Terms(rush=True, collected=True)),
        ({"delivery": "courier"}, Terms()),
    ],
)
def test_the_pace_that_an_order_asks_for(said: dict[str, object], terms: Terms) -> None:
    assert due.terms_of(wishes(**said)) == terms


def test_each_detour_takes_a_day_more() -> None:
    assert leaves(due.earliest_leave(way(), CROWN, NOW)) == "Wed 12 Mar 16:30"
    assert leaves(due.earliest_leave(way(), CROWN, NOW, Terms(physical=True))) == "Thu 13 Mar 16:30"
    assert leaves(due.earliest_leave(way(), CROWN, NOW, Terms(physical=True, approval=True))) == "Fri 14 Mar 16:30"


@pytest.mark.parametrize("make", list(Make))
def test_a_rush_is_quicker_than_usual_but_takes_a_day(make: Make) -> None:
    assert 1 <= RUSH_DAYS[make] < LAB_DAYS[make]
    assert Terms(rush=True).days([make]) == RUSH_DAYS[make]


def test_who_collects_the_case_has_it_on_the_evening_of_the_safety_day() -> None:
    assert leaves(due.leave_by(way(), date(2031, 3, 13), Terms(collected=True))) == "Wed 12 Mar 16:30"
    assert leaves(due.leave_by(way(transit_days=3), date(2031, 3, 13), Terms(collected=True))) == "Wed 12 Mar 16:30"


def test_nothing_is_collected_while_the_laboratory_is_closed() -> None:
    closed = {date(2031, 3, 12)}
    assert leaves(due.leave_by(way(closed=closed), date(2031, 3, 13), Terms(collected=True))) == "Tue 11 Mar 16:30"
    weekend = frozenset({5, 6})
    assert leaves(due.leave_by(way(week=weekend), date(2031, 3, 15), Terms(collected=True))) == "Fri 07 Mar 16:30"


def test_a_way_out_that_is_taken_already_is_not_offered() -> None:
    promise = due.promise_for(way(), local(2031, 3, 7, 14), CROWN, NOW, Terms(rush=True, collected=True))
    assert promise.tight
    assert promise.ways_out == ()
    (one,) = due.promise_for(way(), local(2031, 3, 7, 14), CROWN, NOW, Terms(rush=True)).ways_out
    assert one.terms == Terms(rush=True, collected=True)


def test_both_together_are_offered_where_none_is_enough_alone() -> None:
    outs = due.promise_for(way(), local(2031, 3, 10, 14), CROWN, NOW).ways_out
    assert [(one.holds, one.terms) for one in outs] == [
        (False, Terms(rush=True)),
        (False, Terms(collected=True)),
        (True, Terms(rush=True, collected=True)),
    ]


@time_machine.travel("2031-03-05T14:00:00Z")
def test_a_way_out_that_is_not_enough_says_from_when_it_would_be() -> None:
    promise = due.promise_for(way(), local(2031, 3, 10, 14), CROWN, NOW)
    assert "order a rush (then it holds from Tue 11 Mar on)" in promise.conflict
    assert "order a rush and collect it yourself (then it holds)" in promise.conflict


@given(WAYS, st.integers(1, 20), st.sampled_from(list(Make)))
def test_what_is_said_to_hold_holds_when_it_is_done(found: due.Way, days: int, make: Make) -> None:
    seat = datetime(2031, 3, 5, 14, tzinfo=found.practice_zone) + timedelta(days=days)
    for out in due.promise_for(found, seat, [make], NOW).ways_out:
        assert due.promise_for(found, seat, [make], NOW, out.terms).tight is not out.holds
        moved = datetime.combine(out.seat_from, seat.timetz())
        assert not due.promise_for(found, moved, [make], NOW, out.terms).tight


@given(WAYS, st.dates(date(2031, 1, 1), date(2031, 12, 31)), st.sampled_from(list(Make)), st.booleans())
def test_what_is_complete_in_time_leaves_in_time(found: due.Way, seat: date, make: Make, physical: bool) -> None:
    """One morning later it would not."""
    terms = Terms(physical=physical)
    due_at = due.leave_by(found, seat)
    last = due.complete_by(found, [make], due_at, terms)
    assert due.earliest_leave(found, [make], datetime(last.year, last.month, last.day, 9, tzinfo=YORK), terms) <= due_at
    later = found.laboratory.shift(last, 1)
    evening = datetime(later.year, later.month, later.day, 9, tzinfo=YORK)
    assert due.earliest_leave(found, [make], evening, terms) > due_at


@given(WAYS, st.dates(date(2031, 1, 1), date(2031, 12, 31)))
def test_a_parcel_is_sent_on_a_working_day_of_the_practice_and_there_in_time(found: due.Way, day: date) -> None:
    complete = found.laboratory.on_or_after(day)
    sent = due.sent_by(found, complete)
    assert found.practice.is_open(sent)
    assert found.laboratory.shift(sent, max(1, found.transit_days)) <= complete
