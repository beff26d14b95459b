"""Cancelling a case."""

import pytest

from labqueue.base import audit
from labqueue.base.errors import Conflict, Forbidden
from orders.cancel import cancel
from orders.hold import hold
from orders.lifecycle import advance
from orders.models import Case
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("make", [build.draft_case, build.signed_case, build.accepted_case])
def test_a_practice_cancels_before_anything_is_made(make: object) -> None:
    assert callable(make)
    case: Case = make()
    assert cancel(cast.assistant(), case).state == "cancelled"
    event = audit.trail(case)[-1]
    assert (event.verb, event.actor) == ("cancelled", cast.assistant())


def test_the_laboratory_can_still_stop_what_is_on_the_floor() -> None:
    case = build.accepted_case()
    advance(case, "released", verb="released", actor=None)
    assert cancel(cast.manager(), case).state == "cancelled"


def test_a_cancelled_case_waits_for_nothing() -> None:
    case = cancel(cast.manager(), hold(cast.manager(), build.signed_case(), "Which shade?"))
    assert (case.on_hold, case.hold_reason) == (False, "")


def test_a_practice_cannot_stop_what_is_on_the_floor() -> None:
    case = build.accepted_case()
    advance(case, "released", verb="released", actor=None)
    with refused("", "already being made. Ask the laboratory", Conflict):
        cancel(cast.prescriber(), case)


@pytest.mark.parametrize("state", ["finished", "packed", "shipped", "cancelled"])
def test_what_is_made_is_not_cancelled(state: str) -> None:
    case = build.signed_case()
    Case.objects.filter(pk=case.pk).update(state=state)
    with refused("", f"is {state} and cannot become cancelled", Conflict):
        cancel(cast.manager(), case)


def test_another_practice_cannot_cancel_it() -> None:
    case, stranger = build.signed_case(), cast.prescriber("southgate")
    with refused("", "belongs to another practice", Forbidden):
        cancel(stranger, case)
