"""Both appointments of a treatment, planned together."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import time_machine

from labqueue.base import audit
from labqueue.base.errors import Conflict, Forbidden
from orders.cancel import cancel
from orders.models import Case
from orders.treatment.plan import appointments, is_early, plan
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused

pytestmark = pytest.mark.django_db
NOW = datetime(2031, 3, 5, 15, tzinfo=UTC)  # Wednesday, 10:00 in the laboratory
SEAT = datetime(2031, 3, 20, 18, tzinfo=UTC)
WEEK = timedelta(days=7)


@pytest.fixture(autouse=True)
def _wednesday() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


def provisional(**facts: Any) -> Case:
    """A provisional abutment with its crown, signed, its appointment two weeks ahead."""
    items = [build.abutment(material="peek"), build.crown(material="pmma")]
    return build.signed_case(stage="provisional", items=items, **{"seat_at": SEAT, **facts})


def test_the_planned_final_is_kept_and_can_be_taken_back() -> None:
    case = plan(cast.assistant(), provisional(), SEAT + 8 * WEEK)
    case.refresh_from_db()
    assert case.final_seat_at == SEAT + 8 * WEEK
    assert audit.trail(case)[-1].verb == "final planned"
    assert plan(cast.assistant(), case, None).final_seat_at is None


def test_the_final_follows_the_provisional_and_is_early_before_six_weeks() -> None:
    """When tissue has settled is decided by who sees it."""
    case = provisional()
    with refused("final_seat_at", "Plan it for after Thu 20 Mar, 14:00."):
        plan(cast.assistant(), case, SEAT)
    assert is_early(plan(cast.assistant(), case, SEAT + timedelta(minutes=1)))
    assert is_early(plan(cast.assistant(), case, SEAT + 3 * WEEK))
    assert not is_early(plan(cast.assistant(), case, SEAT + 6 * WEEK))


def test_an_appointment_that_has_passed_or_is_years_away_is_refused() -> None:
    case = provisional(seat_at=None)
    with refused("final_seat_at", "Plan it for after"):
        plan(cast.assistant(), case, NOW - WEEK)
    with refused("final_seat_at", "Give an appointment between now and"):
        plan(cast.assistant(), case, NOW + 110 * WEEK)


def test_only_the_practice_plans_and_only_for_a_provisional() -> None:
    case, final = provisional(), build.signed_case(patient_ref="K-9")
    cast.assistant("southgate")
    with refused("", "no provisional", kind=Conflict):
        plan(cast.assistant(), final, SEAT + 8 * WEEK)
    with refused("", "another practice", kind=Forbidden):
        plan(cast.assistant("southgate"), case, SEAT + 8 * WEEK)
    cancel(cast.prescriber(), case, "No longer wanted")
    with refused("", "no provisional", kind=Conflict):
        plan(cast.assistant(), case, SEAT + 8 * WEEK)


def test_for_each_appointment_the_last_days_and_the_first_that_can_be_had() -> None:
    case = plan(cast.assistant(), provisional(), datetime(2031, 5, 15, 18, tzinfo=UTC))
    first, second = appointments(case, case.final_seat_at, NOW)
    # Seat on Thursday 20, there on Wednesday 19, picked up on Tuesday 18; four days of work, one more for an
    # impression, which travels for another.
    assert (first.seat_at, first.scan_by, first.impression_by) == (SEAT, date(2031, 3, 12), date(2031, 3, 10))
    assert first.seat_from == date(2031, 3, 14)
    # Picked up on Tuesday 13 May, six days of work before that; and no final before the trial is over.
    assert (second.scan_by, second.impression_by) == (date(2031, 5, 5), date(2031, 5, 1))
    assert second.seat_from == date(2031, 4, 10)


def test_without_appointments_there_is_only_the_first_day() -> None:
    first, second = appointments(provisional(seat_at=None), None, NOW)
    assert (first.scan_by, first.impression_by, first.seat_from) == (None, None, date(2031, 3, 14))
    assert (second.scan_by, second.seat_from) == (None, date(2031, 3, 26))


def test_of_what_is_being_made_the_promise_counts() -> None:
    case = provisional()
    Case.objects.filter(pk=case.pk).update(state=Case.State.RELEASED)
    case.refresh_from_db()
    first, _ = appointments(case, None, NOW)
    assert (first.seat_at, first.scan_by, first.impression_by, first.seat_from) == (SEAT, None, None, None)
