"""Signing a prescription."""

import pytest
import time_machine
from django.db import DatabaseError, transaction

from labqueue.base import audit
from labqueue.base.errors import Conflict, Forbidden
from labqueue.base.workdays import Workdays
from orders import seal
from orders.acceptance import accept
from orders.intake import edit_draft
from orders.models import Case, Item, Member, Prescription
from orders.signoff import sign
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused

pytestmark = pytest.mark.django_db


def test_the_signed_version_counts() -> None:
    case = build.draft_case()
    signed = sign(cast.prescriber(), case)
    assert (case.state, case.current, case.draft) == ("signed", signed, None)
    assert (signed.signed_by, signed.licence_number) == (cast.prescriber().member, "D-1001")
    assert signed.hash == seal.seal(case, signed)


def test_the_date_is_counted_back_from_the_appointment() -> None:
    with time_machine.travel("2031-03-05T15:00:00Z", tick=False):  # Wednesday, 10:00
        case = build.signed_case(seat_at=build.seat_in(12))  # Friday 21 March
    assert case.due_at is not None
    assert case.due_at.isoformat() == "2031-03-19T20:30:00+00:00"
    assert case.first_due_at == case.due_at


def test_without_appointment_the_date_is_counted_from_the_signature() -> None:
    with time_machine.travel("2031-03-05T15:00:00Z", tick=False):
        case = build.signed_case(seat_at=None)
    assert case.due_at is not None
    assert case.due_at.isoformat() == "2031-03-14T20:30:00+00:00"


def test_the_trail_names_the_signer() -> None:
    case = build.signed_case()
    event = audit.trail(case)[-1]
    assert (event.verb, event.actor, event.before["state"]) == ("signed", cast.prescriber(), "draft")
    assert event.after["current"] == case.current_id


def test_a_signed_version_is_frozen_in_the_database() -> None:
    case = build.signed_case()
    for change in (
        lambda: Prescription.objects.filter(case=case).update(note="other"),
        lambda: Item.objects.filter(prescription__case=case).update(shade="D1"),
        lambda: Item.objects.filter(prescription__case=case).update(frozen=False),
        lambda: Item.objects.filter(prescription__case=case).delete(),
    ):
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
            change()
    assert case.current is not None
    assert [item.shade for item in case.current.items.all()] == ["", build.SHADE]


def test_an_assistant_cannot_sign() -> None:
    case = build.draft_case()
    with refused("", "Only a prescriber of the practice with a licence number", Forbidden):
        sign(cast.assistant(), case)


def test_a_prescriber_of_another_practice_cannot_sign() -> None:
    case, stranger = build.draft_case(), cast.prescriber("southgate")
    with refused("", "belongs to another practice", Forbidden):
        sign(stranger, case)


def test_the_laboratory_cannot_sign() -> None:
    case, manager = build.draft_case(), cast.manager()
    with refused("", "Only people of a practice", Forbidden):
        sign(manager, case)


def test_who_lost_the_right_cannot_sign() -> None:
    case, prescriber = build.draft_case(), cast.prescriber()
    Member.objects.filter(user=prescriber).update(may_sign=False)
    with refused("", "Only a prescriber", Forbidden):
        sign(prescriber, case)


def test_a_signature_is_given_once() -> None:
    case = build.signed_case()
    with refused("", "has no draft", Conflict):
        sign(cast.prescriber(), case)


def test_what_was_read_is_what_is_signed() -> None:
    case = build.draft_case()
    assert case.draft is not None
    mark = seal.mark(case, case.draft)
    assert sign(cast.prescriber(), case, seen=mark).signed_at is not None


def test_a_draft_that_changed_after_it_was_read_is_not_signed() -> None:
    case, prescriber = build.draft_case(), cast.prescriber()
    assert case.draft is not None
    mark = seal.mark(case, case.draft)
    edit_draft(cast.assistant(), case, **build.order(items=[build.abutment(), build.crown(shade="N3")]))
    with refused("", "changed after you read it", Conflict):
        sign(prescriber, case, seen=mark)


def test_a_draft_that_lay_too_long_is_not_signed() -> None:
    prescriber = cast.prescriber()
    with time_machine.travel("2031-03-05T15:00:00Z", tick=False):
        case = build.draft_case(seat_at=build.seat_in(3))
    with (
        time_machine.travel("2031-03-07T15:00:00Z", tick=False),
        refused("seat_at", "the case had to leave the laboratory on Thu 6 Mar, 16:30"),
    ):
        sign(prescriber, case)


def test_the_rules_are_asked_again() -> None:
    case, prescriber = build.draft_case(), cast.prescriber()
    Item.objects.filter(prescription__case=case, kind="crown").update(material="composite", tooth=16)
    with refused("items.1.material", "Milled composite is not possible"):
        sign(prescriber, case)


def test_a_cancelled_draft_is_not_signed() -> None:
    case, prescriber = build.draft_case(), cast.prescriber()
    Case.objects.filter(pk=case.pk).update(state="cancelled")
    with refused("", "is cancelled and cannot become signed", Conflict):
        sign(prescriber, case)


def test_the_state_must_allow_it_at_the_moment_of_signing() -> None:
    """The case object in hand may be old: the verb reads it again under its lock."""
    case = build.signed_case()
    old = Case.objects.get(pk=case.pk)
    accept(cast.manager(), case)
    with refused("", "has no draft", Conflict):
        sign(cast.prescriber(), old)
    assert old.state == "accepted"


def test_working_days_of_the_tests_are_those_of_the_laboratory() -> None:
    assert Workdays().week == frozenset(range(5))
