"""A case with an appointment goes on after a hold: it says what can still be promised for it, and never a past date."""

from typing import Any

import pytest
import time_machine

from orders.hold import hold, resume
from orders.lifecycle import advance
from orders.models import Case
from orders.signoff import amend, sign
from orders.talk.approve import approve
from orders.talk.ask_approval import ask_approval
from orders.talk.stops import open_stops
from tests import cast
from tests.orders import build
from tests.orders.talk.build import approver, design

pytestmark = pytest.mark.django_db

# Signed on Wednesday morning for Friday 21 March: it leaves by Wednesday 19, and could leave on Friday 14.
MARCH = "2031-03-{:02}T15:00:00Z"
HOLDS = "The case goes on. It leaves by Wed 19 Mar, 16:30."


def order(released: bool = False, **facts: Any) -> Case:
    """An accepted case of Wednesday 5 March with an appointment, on the floor since then where it is released."""
    with time_machine.travel(MARCH.format(5), tick=False):
        case = build.accepted_case(seat_at=build.seat_in(12), **facts)
        if released:
            advance(case, "released", verb="released", actor=None)
    assert due(case) == "2031-03-19T20:30:00+00:00"
    return case


def due(case: Case) -> str:
    """When it leaves, in UTC."""
    case.refresh_from_db()
    return case.due_at.isoformat() if case.due_at else ""


def stand(case: Case, first: int, last: int) -> str:
    """Let it stand still from one day of March to another; what the service says then."""
    with time_machine.travel(MARCH.format(first), tick=False):
        hold(cast.technician(), case, "Which shade?")
    with time_machine.travel(MARCH.format(last), tick=False):
        resume(cast.technician(), case)
    return said(case)


def said(case: Case) -> str:
    """What the service said last."""
    return case.messages.filter(kind="note", by=None).latest("at", "pk").text


def test_a_date_that_holds_stays() -> None:
    case = order()
    assert stand(case, 5, 7) == HOLDS
    assert due(case) == "2031-03-19T20:30:00+00:00"


def test_a_date_that_is_tight_by_now_is_told_with_its_ways_out() -> None:
    case = order()
    first = case.first_due_at
    assert stand(case, 5, 13) == (
        "The case goes on. For this appointment the case must leave the laboratory on Wed 19 Mar, 16:30; with the "
        "usual working days it leaves on Mon 24 Mar, 16:30. Ways out: move the appointment to Wed 26 Mar or later; "
        "order a rush (then it holds); collect the case yourself (then it holds from Tue 25 Mar on)."
    )
    assert (due(case), case.first_due_at) == ("2031-03-19T20:30:00+00:00", first)


def test_no_date_in_the_past_is_promised() -> None:
    case = order()
    first = case.first_due_at
    told = stand(case, 5, 20)
    assert told.startswith("The case goes on. It leaves by Mon 31 Mar, 16:30; it was Wed 19 Mar, 16:30. For this")
    assert "Ways out: move the appointment to Wed 2 Apr or later" in told
    assert (due(case), case.first_due_at) == ("2031-03-31T20:30:00+00:00", first)


def test_a_second_hold_counts_anew() -> None:
    case = order()
    stand(case, 5, 20)
    assert "It leaves by Tue 1 Apr, 16:30; it was Mon 31 Mar, 16:30." in stand(case, 20, 21)


def test_what_was_worked_on_the_floor_before_counts() -> None:
    assert stand(order(released=True), 13, 14) == HOLDS


def test_a_day_on_hold_is_no_day_of_work() -> None:
    """Twice six days, of which the laboratory worked none."""
    case = order(released=True)
    stand(case, 5, 11)
    told = stand(case, 11, 17)
    assert "with the usual working days it leaves on Wed 26 Mar, 16:30" in told


def test_a_version_that_was_changed_on_the_floor_begins_anew() -> None:
    case = order(released=True)
    with time_machine.travel(MARCH.format(13), tick=False):
        hold(cast.technician(), case, "Which shade?")
        amend(cast.prescriber(), case)
        sign(cast.prescriber(), case)
        resume(cast.technician(), case)
    assert "with the usual working days it leaves on Mon 24 Mar, 16:30" in said(case)


def test_what_is_finished_leaves_with_the_next_pick_up() -> None:
    case = order(released=True)
    advance(case, "finished", verb="finished", actor=None)
    assert stand(case, 6, 18) == HOLDS
    assert stand(case, 18, 20).startswith("The case goes on. It leaves by Thu 20 Mar, 16:30; it was Wed 19 Mar")


@pytest.mark.parametrize(("back", "leaves"), [(13, HOLDS), (18, "it leaves on Thu 20 Mar, 16:30")])
def test_a_design_that_was_approved_needs_no_day_more(back: int, leaves: str) -> None:
    case, person = order(released=True, approval="yes"), approver()
    with time_machine.travel(MARCH.format(12), tick=False):
        ask_approval(cast.technician(), case, "Please look.", design(case))
    with time_machine.travel(MARCH.format(back), tick=False):
        approve(person, case, open_stops(case).get())
    assert leaves in said(case)
