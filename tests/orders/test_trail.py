"""The history of a case for people."""

import pytest

from labqueue.base import audit
from orders.hold import hold
from orders.signoff import amend
from orders.trail import trail_of
from tests import cast
from tests.orders import build

pytestmark = pytest.mark.django_db


def test_everything_that_happened_the_latest_first() -> None:
    case = build.accepted_case()
    hold(cast.technician(), case, "Which shade?")
    amend(cast.assistant(), case)
    assert [(line.what, line.by) for line in trail_of(case)] == [
        ("Change begun (version 2)", "Assistant-northgate Test"),
        ("Put on hold: Which shade?", "Tessa Test"),
        ("Accepted", "Magnus Test"),
        ("Signed", "Doctor-northgate Test"),
        ("Opened (version 1)", "Doctor-northgate Test"),
    ]


def test_the_service_has_a_name_too() -> None:
    case = build.signed_case()
    audit.record(case, "reminded", None)
    assert trail_of(case)[0].by == "the service"
