"""A design is approved, or sent back, by a person who may, and stays under that person's name."""

from datetime import timedelta

import pytest
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Conflict, Forbidden
from orders.acceptance import accept
from orders.hold import resume
from orders.models import Attachment, Case, Message
from orders.signoff import amend, sign
from orders.talk import stops
from orders.talk.answer import answer
from orders.talk.approve import approve, want_changes
from orders.talk.ask_approval import ask_approval
from orders.talk.reads import approved
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused
from tests.orders.talk.build import approver, asked_case, design, shown_design

pytestmark = pytest.mark.django_db


def again(case: Case) -> Message:
    """The next design is shown."""
    return ask_approval(cast.technician(), case, "And so?", design(case))


def test_an_approval_is_kept_under_a_name_and_the_case_goes_on() -> None:
    case, shown = shown_design()
    decision = approve(approver(), case, shown)
    assert (decision.kind, decision.by, decision.answers) == ("approved", approver(), shown)
    assert not case.on_hold
    assert [(one.verb, one.actor) for one in audit.trail(case)[-2:]] == [
        ("approved the design", approver()),
        ("resumed", approver()),
    ]
    assert approved(case)


def test_changes_let_the_case_go_on_without_an_approval() -> None:
    case, shown = shown_design()
    decision = want_changes(approver(), case, shown, "A lower collar,\nplease.")
    assert (decision.kind, decision.text, decision.by) == ("changes", "A lower collar,\nplease.", approver())
    assert not case.on_hold
    assert not approved(case)
    approve(approver(), case, again(case))
    assert approved(case)


def test_a_change_that_is_wanted_later_takes_the_approval_back() -> None:
    case, shown = shown_design()
    approve(approver(), case, shown)
    want_changes(approver(), case, again(case), "Rather not.")
    assert not approved(case)


def test_a_new_signature_wants_a_new_approval() -> None:
    case, shown = shown_design()
    approve(approver(), case, shown)
    amend(cast.prescriber(), case)
    sign(cast.prescriber(), case)
    assert not approved(case)


def test_a_design_of_an_older_version_is_no_longer_decided() -> None:
    case, shown = shown_design()
    person = approver()
    amend(person, case)
    sign(person, case)
    case.refresh_from_db()
    assert not case.on_hold
    assert (shown.answer.by, shown.answer.text) == (None, "Asked anew: the prescription was changed.")
    with refused("", "Somebody answered this before you", kind=Conflict):
        approve(person, case, shown)
    assert not approved(case)
    accept(cast.manager(), case)
    approve(person, case, again(case))
    assert approved(case)


def test_an_old_design_that_is_approved_late_counts_for_nothing() -> None:
    """Decided after a signature, but shown before it: no verb does so any more, rows from before may say so."""
    case = build.accepted_case()
    assert case.current is not None
    assert case.current.signed_at is not None
    before = case.current.signed_at - timedelta(days=1)
    old = Message.objects.create(case=case, kind="approval", text="Please look.", at=before, stops=True)
    stops.answer(case, old, approver(), "Made as shown.", Message.Kind.APPROVED)
    assert not approved(case)


def test_a_case_without_a_signature_has_nothing_approved() -> None:
    assert not approved(build.draft_case())


def test_who_may_not_approve_decides_nothing() -> None:
    case, shown = shown_design()
    assistant = cast.assistant()
    with refused("", "Only somebody of the practice who may approve", kind=Forbidden):
        approve(assistant, case, shown)
    with refused("", "Only somebody of the practice who may approve", kind=Forbidden):
        want_changes(assistant, case, shown, "Lower.")


def test_nobody_else_decides_for_a_practice() -> None:
    case, shown = shown_design()
    stranger, manager = approver("southgate"), cast.manager()
    with refused("", "belongs to another practice", kind=Forbidden):
        approve(stranger, case, shown)
    with refused("", "Only people of a practice", kind=Forbidden):
        approve(manager, case, shown)


def test_a_design_is_decided_once() -> None:
    case, shown = shown_design()
    person = approver()
    approve(person, case, shown)
    with refused("", "Somebody answered this before you", kind=Conflict):
        want_changes(person, case, shown, "Lower.")


def test_changes_are_said_in_words() -> None:
    case, shown = shown_design()
    person = approver()
    with refused("text", "Write in 1 to 1000 characters"):
        want_changes(person, case, shown, " ")


def test_a_question_is_not_approved_and_a_design_not_answered() -> None:
    (case, question), (other, shown) = asked_case(), shown_design(patient_ref="K-7")
    person = approver()
    with refused("", "This is no design", kind=Conflict):
        approve(person, case, question)
    for actor in (person, cast.technician()):
        with refused("", "A design is not answered in words", kind=Conflict):
            answer(actor, other, shown, "By telephone: fine.")


def test_a_design_that_was_withdrawn_is_not_approved() -> None:
    case, shown = shown_design()
    Attachment.objects.update(withdrawn_at=timezone.now())
    shown.refresh_from_db()
    person = approver()
    with refused("", "This design was withdrawn", kind=Conflict):
        approve(person, case, shown)


def test_the_laboratory_takes_a_design_back_and_nothing_is_approved() -> None:
    case, _ = shown_design()
    resume(cast.technician(), case)
    assert not case.on_hold
    assert not approved(case)


def test_an_approval_does_not_outlive_a_later_design_that_was_taken_back() -> None:
    case, shown = shown_design()
    approve(approver(), case, shown)
    again(case)
    assert not approved(case), "the later one is not decided yet"
    resume(cast.technician(), case)
    assert not approved(case)
