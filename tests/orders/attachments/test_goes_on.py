"""A case that stands still for its scan goes on once a worker has looked at it."""

from typing import Any

import pytest

from orders.cancel import cancel
from orders.models import Case
from orders.signoff import sign
from orders.talk.stops import open_stops
from tests import cast
from tests.orders import build
from tests.orders.attachments import build as made

pytestmark = pytest.mark.django_db

SCAN: dict[str, Any] = {"items": [build.crown()], "impression": "scan"}


def waits(case: Case) -> bool:
    """Whether it stands still now."""
    case.refresh_from_db()
    assert case.on_hold == open_stops(case).exists()
    return case.on_hold


def test_it_goes_on_once_the_scan_was_looked_at() -> None:
    case = build.signed_case(**SCAN)
    scan = made.sent(case, made.stl())
    assert waits(case), "nobody has looked at it yet"
    assert made.looked_at(scan).state == "ready"
    assert not waits(case)


@pytest.mark.parametrize("state", [Case.State.CANCELLED, Case.State.SHIPPED])
def test_a_case_that_is_gone_is_not_held_by_a_file_that_comes_late(state: str) -> None:
    case = build.signed_case(items=[build.crown(shade="")], impression="scan")
    scan = made.sent(case, made.stl())
    if state == Case.State.CANCELLED:
        cancel(cast.manager(), case, "The patient moved away.")
    else:
        Case.objects.filter(pk=case.pk).update(state=state, held_since=None, hold_reason="")
    said = case.messages.count()
    assert made.looked_at(scan).state == "ready"
    case.refresh_from_db()
    assert (case.state, case.on_hold, case.hold_reason, case.messages.count()) == (state, False, "", said)


def test_another_file_does_not_bring_it() -> None:
    case = build.signed_case(**SCAN)
    made.looked_at(made.sent(case, made.photo(), "photo_smile"))
    made.looked_at(made.sent(case, made.stl(), "opposing_scan"))
    assert waits(case)


def test_a_scan_that_is_refused_does_not_bring_it() -> None:
    case = build.signed_case(**SCAN)
    assert made.settled(made.sent(case, made.stl(made.triangles()[:1]))).state == "refused"
    assert waits(case)


def test_an_order_is_signed_without_a_stop_after_its_scan_was_looked_at() -> None:
    case = build.draft_case(**SCAN)
    made.looked_at(made.sent(case, made.stl()))
    sign(cast.prescriber(), case, reasons=build.reasons_for(case))
    assert not waits(case)
