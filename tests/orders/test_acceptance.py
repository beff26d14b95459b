"""Accepting a case."""

import pytest
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Conflict
from orders.acceptance import accept
from orders.cancel import cancel
from orders.hold import hold
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused

pytestmark = pytest.mark.django_db


def test_a_signed_case_is_taken_on() -> None:
    case = build.signed_case()
    due = case.due_at
    assert accept(cast.manager(), case) is case
    assert (case.state, case.due_at) == ("accepted", due)
    assert case.accepted_at is not None
    assert abs((timezone.now() - case.accepted_at).total_seconds()) < 60
    event = audit.trail(case)[-1]
    assert (event.verb, event.actor) == ("accepted", cast.manager())


def test_a_draft_is_not_accepted() -> None:
    case = build.draft_case()
    with refused("", "is draft and cannot become accepted", Conflict):
        accept(cast.manager(), case)


def test_a_case_is_accepted_once() -> None:
    case = build.accepted_case()
    with refused("", "is accepted and cannot become accepted", Conflict):
        accept(cast.manager(), case)


def test_a_held_case_is_not_accepted() -> None:
    case = hold(cast.manager(), build.signed_case(), "Which shade?")
    with refused("", "is on hold: Which shade?. Resume it first", Conflict):
        accept(cast.manager(), case)


def test_a_cancelled_case_is_not_accepted() -> None:
    case = build.signed_case()
    cancel(cast.prescriber(), case, "No longer wanted")
    with refused("", "it stays so", Conflict):
        accept(cast.manager(), case)
