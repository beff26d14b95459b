"""Cancelling a case: who may, until when, and what stays said about it."""

import pytest

from labqueue.base import audit
from labqueue.base.errors import Conflict, Forbidden
from labqueue.base.models import User
from orders.cancel import cancel
from orders.hold import hold
from orders.lifecycle import advance
from orders.models import Case
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused

pytestmark = pytest.mark.django_db
WHY = "The patient moved away"


@pytest.mark.parametrize("make", [build.signed_case, build.accepted_case])
def test_a_practice_cancels_before_anything_is_made_and_says_why(make: object) -> None:
    assert callable(make)
    case: Case = make()
    assert cancel(cast.assistant(), case, f"  {WHY} ").state == "cancelled"
    case.refresh_from_db()
    assert case.cancel_reason == WHY
    event = audit.trail(case)[-1]
    assert (event.verb, event.actor, event.after["cancel_reason"]) == ("cancelled", cast.assistant(), WHY)
    message = case.messages.get()
    assert (message.kind, message.text, message.by) == ("note", f"Cancelled: {WHY}", cast.assistant())


def test_a_draft_is_thrown_away_without_a_reason() -> None:
    case = cancel(cast.assistant(), build.draft_case())
    assert (case.state, case.cancel_reason, case.messages.count()) == ("cancelled", "", 0)


@pytest.mark.parametrize("reason", ["", "  no ", "no\u200b\u2060", "x" * 201])
def test_what_was_signed_needs_a_reason(reason: str) -> None:
    case = build.signed_case()
    with refused("reason", "Say in 3 to 200 characters why"):
        cancel(cast.prescriber(), case, reason)


def test_a_cancelled_case_waits_for_nothing() -> None:
    case = cancel(cast.manager(), hold(cast.manager(), build.signed_case(), "Which shade?"), WHY)
    assert (case.on_hold, case.hold_reason) == (False, "")


@pytest.mark.parametrize(
    ("person", "words"),
    [(cast.prescriber, "Ask the laboratory to stop it."), (cast.manager, "Stop it on the floor.")],
)
def test_what_is_being_made_is_stopped_on_the_floor(person: object, words: str) -> None:
    assert callable(person)
    actor: User = person()
    case = build.accepted_case()
    advance(case, "released", verb="released", actor=None)
    with refused("", f"already being made. {words}", Conflict):
        cancel(actor, case, WHY)


@pytest.mark.parametrize("state", ["finished", "packed", "shipped", "cancelled"])
def test_what_is_made_is_not_cancelled(state: str) -> None:
    case = build.signed_case()
    Case.objects.filter(pk=case.pk).update(state=state)
    with refused("", f"is {state} and cannot become cancelled", Conflict):
        cancel(cast.manager(), case, WHY)


def test_another_practice_cannot_cancel_it() -> None:
    case, stranger = build.signed_case(), cast.prescriber("southgate")
    with refused("", "belongs to another practice", Forbidden):
        cancel(stranger, case, WHY)
