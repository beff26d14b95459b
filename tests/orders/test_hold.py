"""Holding a case and taking it up again."""

from datetime import datetime

import pytest
import time_machine

from labqueue.base import audit
from labqueue.base.errors import Conflict
from labqueue.base.models import ClosedDay
from orders.hold import hold, resume
from orders.lifecycle import advance
from orders.models import Case
from orders.signoff import amend, sign
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused

pytestmark = pytest.mark.django_db

WEDNESDAY, FRIDAY, MONDAY = "2031-03-05T15:00:00Z", "2031-03-07T20:00:00Z", "2031-03-10T15:00:00Z"


def local(at: datetime | None) -> str:
    """As text in UTC."""
    return at.isoformat() if at else ""


def test_a_held_case_says_what_it_waits_for() -> None:
    case = hold(cast.technician(), build.accepted_case(), "  Which   shade? ")
    assert (case.on_hold, case.hold_reason, case.state) == (True, "Which shade?", "accepted")
    event = audit.trail(case)[-1]
    assert (event.verb, event.actor, event.after["hold_reason"]) == ("put on hold", cast.technician(), "Which shade?")


def test_a_resumed_case_goes_on() -> None:
    case = resume(cast.technician(), hold(cast.technician(), build.accepted_case(), "Which shade?"))
    assert (case.on_hold, case.hold_reason) == (False, "")
    advance(case, "released", verb="released", actor=None)
    assert case.state == "released"
    event = audit.trail(case)[-2]
    assert (event.verb, event.before["hold_reason"]) == ("resumed", "Which shade?")


def test_a_held_case_does_not_move() -> None:
    case = hold(cast.technician(), build.accepted_case(), "Which shade?")
    with refused("", "is on hold: Which shade?", Conflict):
        advance(case, "released", verb="released", actor=None)


def test_the_answer_may_be_a_new_version() -> None:
    case = hold(cast.technician(), build.accepted_case(), "Which shade?")
    amend(cast.assistant(), case)
    sign(cast.prescriber(), case)
    assert (case.state, case.on_hold) == ("signed", True)


def test_with_an_appointment_the_date_stays() -> None:
    with time_machine.travel(WEDNESDAY, tick=False):
        case = hold(cast.manager(), build.signed_case(seat_at=build.seat_in(12)), "Which shade?")
        due = case.due_at
    with time_machine.travel(MONDAY, tick=False):
        assert resume(cast.manager(), case).due_at == due


@pytest.mark.parametrize(
    ("back", "due"),
    [
        (WEDNESDAY, "2031-03-14T20:30:00+00:00"),  # Friday, as promised
        (FRIDAY, "2031-03-18T20:30:00+00:00"),  # two working days later, past a weekend
        (MONDAY, "2031-03-19T20:30:00+00:00"),
    ],
)
def test_without_one_the_date_moves_by_the_working_days_on_hold(back: str, due: str) -> None:
    with time_machine.travel(WEDNESDAY, tick=False):
        case = hold(cast.manager(), build.signed_case(seat_at=None), "Which shade?")
        first = case.first_due_at
    with time_machine.travel(back, tick=False):
        resume(cast.manager(), case)
    assert local(case.due_at) == due
    assert case.first_due_at == first


@pytest.mark.parametrize(
    ("back", "due"),
    [
        (FRIDAY, "2031-03-18T20:30:00+00:00"),  # as promised with the signature of that day
        (MONDAY, "2031-03-19T20:30:00+00:00"),  # one working day after it
    ],
)
def test_days_before_a_signature_on_hold_count_once(back: str, due: str) -> None:
    with time_machine.travel(WEDNESDAY, tick=False):
        case = hold(cast.manager(), build.signed_case(seat_at=None), "Which shade?")
    with time_machine.travel("2031-03-07T15:00:00Z", tick=False):
        amend(cast.prescriber(), case)
        sign(cast.prescriber(), case)
        assert local(case.due_at) == "2031-03-18T20:30:00+00:00"
    with time_machine.travel(back, tick=False):
        assert local(resume(cast.manager(), case).due_at) == due


def test_a_closed_day_on_hold_does_not_count() -> None:
    with time_machine.travel(WEDNESDAY, tick=False):
        case = hold(cast.manager(), build.signed_case(seat_at=None), "Which shade?")
    ClosedDay.objects.create(day="2031-03-07", name="Stocktaking")
    with time_machine.travel(MONDAY, tick=False):
        resume(cast.manager(), case)
    assert local(case.due_at) == "2031-03-18T20:30:00+00:00"


@pytest.mark.parametrize("reason", ["", "  ", "?", "\u200b" * 3, "w" * 201])
def test_a_reason_is_needed(reason: str) -> None:
    case = build.signed_case()
    with refused("reason", "what the case waits for"):
        hold(cast.technician(), case, reason)


def test_a_case_is_held_once() -> None:
    case = hold(cast.technician(), build.signed_case(), "Which shade?")
    with refused("", "is on hold already", Conflict):
        hold(cast.technician(), case, "Which system?")


@pytest.mark.parametrize("state", ["draft", "packed", "shipped", "cancelled"])
def test_what_is_not_at_work_is_not_held(state: str) -> None:
    case = build.signed_case()
    Case.objects.filter(pk=case.pk).update(state=state)
    with refused("", "cannot be put on hold", Conflict):
        hold(cast.technician(), case, "Which shade?")


def test_what_is_not_held_is_not_resumed() -> None:
    case = build.signed_case()
    with refused("", "is not on hold", Conflict):
        resume(cast.technician(), case)
