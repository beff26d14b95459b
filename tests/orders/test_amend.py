"""Changing a signed prescription."""

from typing import Any

import pytest
import time_machine

from labqueue.base import audit
from labqueue.base.errors import Conflict, Forbidden
from orders.intake import edit_draft
from orders.lifecycle import advance
from orders.models import Case, Item
from orders.signoff import amend, discard, sign
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused

pytestmark = pytest.mark.django_db


def put(case: Case, *states: str) -> Case:
    """Take an accepted case further, as the rooms to the right do."""
    for state in states:
        advance(case, state, verb=state, actor=None)
    return case


def changed(case: Case, **facts: Any) -> Case:
    """Begin a change, make it and sign it."""
    amend(cast.assistant(), case)
    edit_draft(cast.assistant(), case, **build.order(**facts))
    sign(cast.prescriber(), case)
    return case


def test_a_change_begins_as_a_copy() -> None:
    case = build.signed_case(note="Light contacts.")
    draft = amend(cast.assistant(), case)
    old = case.current
    assert old is not None
    assert (draft.version, draft.note, draft.seat_at, draft.signed_at) == (2, "Light contacts.", old.seat_at, None)
    copied = [field.name for field in Item._meta.fields if field.name not in ("id", "prescription", "frozen")]
    pairs = zip(old.items.values(*copied), draft.items.values(*copied), strict=True)
    assert all(before == after for before, after in pairs)
    assert not draft.items.filter(frozen=True).exists()


def test_until_it_is_signed_the_old_version_counts() -> None:
    case = build.accepted_case()
    old = case.current_id
    amend(cast.assistant(), case)
    assert (case.state, case.current_id) == ("accepted", old)


@pytest.mark.parametrize("accepted", [False, True])
def test_a_signed_change_waits_for_acceptance_again(accepted: bool) -> None:
    case = build.accepted_case() if accepted else build.signed_case()
    changed(case, items=[build.abutment(), build.crown(shade="N3")])
    assert (case.state, case.accepted_at) == ("signed", None)
    assert case.current is not None
    assert case.current.version == 2
    assert [item.shade for item in case.current.items.all()] == ["", "N3"]


def test_a_change_of_a_case_on_the_floor_leaves_it_there() -> None:
    case = put(build.accepted_case(), "released")
    seat = build.seat_in(20)
    changed(case, seat_at=seat)
    assert (case.state, case.seat_at) == ("released", seat)
    assert case.current is not None
    assert case.current.version == 2
    event = audit.trail(case)[-1]
    assert (event.verb, event.after["current"]) == ("signed", case.current_id)


def test_the_first_promise_is_kept() -> None:
    case = build.signed_case()
    first = case.due_at
    changed(case, seat_at=build.seat_in(20))
    assert case.first_due_at == first
    assert case.due_at is not None
    assert first is not None
    assert case.due_at > first


def test_a_late_case_can_still_be_changed_with_its_appointment() -> None:
    with time_machine.travel("2031-03-05T15:00:00Z", tick=False):
        case = put(build.accepted_case(seat_at=build.seat_in(4)), "released")
        due, seat = case.due_at, case.seat_at
        draft = amend(cast.prescriber(), case)
    with time_machine.travel("2031-03-10T15:00:00Z", tick=False):
        sign(cast.prescriber(), case)
    assert (case.current_id, case.due_at, case.seat_at) == (draft.pk, due, seat)


def test_an_appointment_that_is_too_early_is_no_change() -> None:
    with time_machine.travel("2031-03-05T15:00:00Z", tick=False):
        case = build.accepted_case(seat_at=build.seat_in(12))
        amend(cast.assistant(), case)
        with refused("seat_at", "had to leave"):
            edit_draft(cast.assistant(), case, **build.order(seat_at=build.seat_in(1)))


def test_two_changes_at_a_time_are_refused() -> None:
    case = build.signed_case()
    amend(cast.assistant(), case)
    with refused("", "is already being prepared", Conflict):
        amend(cast.prescriber(), case)


def test_a_draft_is_edited_not_changed() -> None:
    case = build.draft_case()
    with refused("", "was never signed. Edit its draft", Conflict):
        amend(cast.assistant(), case)


def test_a_finished_case_is_not_changed() -> None:
    case = put(build.accepted_case(), "released", "finished")
    with refused("", "until it is finished", Conflict):
        amend(cast.assistant(), case)


def test_a_change_comes_too_late_once_the_case_is_finished() -> None:
    case, prescriber = put(build.accepted_case(), "released"), cast.prescriber()
    amend(cast.assistant(), case)
    put(case, "finished")
    with refused("", "until it is finished", Conflict):
        sign(prescriber, case)


def test_another_practice_cannot_change_it() -> None:
    case, stranger = build.signed_case(), cast.prescriber("southgate")
    with refused("", "belongs to another practice", Forbidden):
        amend(stranger, case)


def test_a_change_can_be_dropped() -> None:
    case = build.signed_case()
    old = case.current_id
    amend(cast.assistant(), case)
    discard(cast.assistant(), case)
    assert (case.draft, case.current_id, case.state) == (None, old, "signed")
    event = audit.trail(case)[-1]
    assert (event.verb, event.before["version"]) == ("change discarded", 2)


def test_a_first_draft_is_not_dropped() -> None:
    case = build.draft_case()
    with refused("", "Cancel it instead", Conflict):
        discard(cast.assistant(), case)


def test_without_a_change_there_is_nothing_to_drop() -> None:
    case = build.signed_case()
    with refused("", "has no draft", Conflict):
        discard(cast.assistant(), case)


def test_another_practice_cannot_drop_it() -> None:
    case, stranger = build.signed_case(), cast.prescriber("southgate")
    amend(cast.assistant(), case)
    with refused("", "belongs to another practice", Forbidden):
        discard(stranger, case)
