"""Changing a draft."""

from datetime import datetime, timedelta

import pytest
import time_machine

from labqueue.base import audit
from labqueue.base.errors import Conflict, Forbidden
from orders.cancel import cancel
from orders.intake import edit_draft
from orders.models import Case
from orders.signoff import amend, sign
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused

pytestmark = pytest.mark.django_db


def lines(case: Case) -> list[tuple[int, int, str]]:
    """Line, tooth and kind of the pieces of the draft."""
    assert case.draft is not None
    return [(item.line, item.tooth, item.kind) for item in case.draft.items.all()]


def test_everything_of_a_first_draft_can_change() -> None:
    case = build.draft_case()
    items = [build.screw_crown("30", material="pmma")]
    facts = build.order(patient_ref="b-7", stage="provisional", seat_at=build.seat_in(12), note="Soft.", items=items)
    draft = edit_draft(cast.prescriber(), case, **facts)
    assert (case.patient_ref, case.stage, case.seat_at) == ("B-7", "provisional", facts["seat_at"])
    assert (draft.version, draft.note, draft.seat_at) == (1, "Soft.", facts["seat_at"])
    assert lines(case) == [(1, 46, "screw_crown")]


def test_the_trail_holds_before_and_after() -> None:
    case = build.draft_case(note="Old.")
    edit_draft(cast.assistant(), case, **build.order(note="New."))
    event = audit.trail(case)[-1]
    assert (event.verb, event.before["note"], event.after["note"]) == ("draft changed", "Old.", "New.")


def test_a_fault_leaves_the_draft_as_it_was() -> None:
    case = build.draft_case()
    with refused("items.0.shade", "more than 20 characters"):
        edit_draft(cast.assistant(), case, **build.order(items=[build.crown(shade="N" * 21)]))
    assert lines(case) == [(1, 11, "abutment"), (2, 11, "crown")]


def test_another_practice_cannot_change_it() -> None:
    case, stranger = build.draft_case(), cast.prescriber("southgate")
    with refused("", "belongs to another practice", Forbidden):
        edit_draft(stranger, case, **build.order())


def test_a_signed_version_cannot_be_edited() -> None:
    case = build.signed_case()
    with refused("", "has no draft. Begin a change", Conflict):
        edit_draft(cast.assistant(), case, **build.order())


def test_a_signed_provisional_never_becomes_a_final() -> None:
    case = build.signed_case(stage="provisional", items=[build.crown(material="zirconia_4y")])
    amend(cast.assistant(), case)
    with refused("stage", "was signed as provisional; it stays so"):
        edit_draft(cast.assistant(), case, **build.order(items=[build.crown()]))


def test_a_signed_case_stays_its_patients() -> None:
    case = build.signed_case()
    amend(cast.assistant(), case)
    with refused("patient_ref", "was signed as K-2041; it stays so"):
        edit_draft(cast.assistant(), case, **build.order(patient_ref="Z-1"))


def test_a_change_leaves_the_case_alone_until_it_is_signed() -> None:
    case = build.signed_case()
    before = (case.seat_at, case.current_id, case.due_at)
    amend(cast.assistant(), case)
    edit_draft(cast.assistant(), case, **build.order(seat_at=build.seat_in(20)))
    case.refresh_from_db()
    assert (case.seat_at, case.current_id, case.due_at) == before


def overdue() -> tuple[Case, datetime]:
    """A signed case, and an instant at which its due date has passed."""
    case = build.signed_case(seat_at=build.seat_in(12))
    assert case.due_at is not None
    assert case.seat_at is not None
    return case, case.due_at + timedelta(hours=2)


def test_an_overdue_case_can_be_corrected_while_its_appointment_stands() -> None:
    case, later = overdue()
    with time_machine.travel(later, tick=False):
        amend(cast.assistant(), case)
        items = [build.abutment(), build.crown(shade="N3")]
        edit_draft(cast.assistant(), case, **build.order(seat_at=case.seat_at, items=items))
        signed = sign(cast.prescriber(), case)
    assert [item.shade for item in signed.items.all()] == ["", "N3"]
    assert signed.seat_at == case.seat_at


def test_an_overdue_case_is_not_moved_to_another_day_that_cannot_be_kept() -> None:
    case, later = overdue()
    assert case.seat_at is not None
    with time_machine.travel(later, tick=False):
        amend(cast.assistant(), case)
        with refused("seat_at", "the case had to leave the laboratory"):
            edit_draft(cast.assistant(), case, **build.order(seat_at=case.seat_at + timedelta(minutes=30)))


def test_a_piece_keeps_its_line_through_all_versions() -> None:
    case = build.signed_case(items=[build.screw_crown("30"), build.abutment(), build.crown()])
    amend(cast.assistant(), case)
    items = [build.crown(shade="N3"), build.screw_crown("3"), build.abutment()]
    edit_draft(cast.assistant(), case, **build.order(items=items))
    assert lines(case) == [(2, 11, "abutment"), (3, 11, "crown"), (4, 16, "screw_crown")]
    assert case.current is not None
    assert [item.line for item in case.current.items.all()] == [1, 2, 3]


def test_the_draft_of_a_cancelled_case_is_left_alone() -> None:
    case = cancel(cast.assistant(), build.draft_case())
    with refused("", "is cancelled", Conflict):
        edit_draft(cast.assistant(), case, **build.order())


def test_a_change_is_not_edited_once_the_case_is_finished() -> None:
    case = build.signed_case()
    amend(cast.assistant(), case)
    Case.objects.filter(pk=case.pk).update(state="finished")
    with refused("", "can be changed until it is finished", Conflict):
        edit_draft(cast.assistant(), case, **build.order())
