"""A case stands still for as long as anything is open, and its own columns say so."""

from datetime import UTC, datetime
from typing import Any

import pytest
import time_machine
from django.db import IntegrityError, transaction

from labqueue.base import audit
from orders.cancel import cancel
from orders.hold import hold, resume
from orders.models import Attachment, Case, Message, Reminder
from orders.talk.stops import answer, open_stops, settle, stop
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused

pytestmark = pytest.mark.django_db

WEDNESDAY, THURSDAY, MONDAY = "2031-03-05T15:00:00Z", "2031-03-06T15:00:00Z", "2031-03-10T15:00:00Z"


def stopped(**facts: Any) -> Case:
    """A signed case that misses its shade since Wednesday and waits for an answer since Thursday."""
    with time_machine.travel(WEDNESDAY, tick=False):
        case = build.signed_case(**{"seat_at": None, **facts})
        stop(case, "missing", "Give the shade.", fields=("items.1.shade",))
    with time_machine.travel(THURSDAY, tick=False):
        stop(case, "question", "Which screw?", cast.technician())
    return case


def say(case: Case, message: Message) -> None:
    """The practice answers one message."""
    answer(case, message, cast.assistant(), "N2.")
    settle(case, cast.assistant())


def test_a_case_says_everything_it_waits_for() -> None:
    case = stopped()
    case.refresh_from_db()
    assert case.held_since == datetime(2031, 3, 5, 15, tzinfo=UTC)
    assert case.hold_reason == "Give the shade. Which screw?"
    missing, question = open_stops(case)
    assert (missing.kind, missing.by, missing.fields) == ("missing", None, ["items.1.shade"])
    assert (question.kind, question.by) == ("question", cast.technician())
    trail = [(event.verb, event.actor) for event in audit.trail(case)[-2:]]
    assert trail == [("put on hold", None), ("put on hold", cast.technician())]


def test_it_goes_on_only_once_nothing_is_open() -> None:
    case = stopped()
    missing, question = open_stops(case)
    say(case, missing)
    assert (case.on_hold, case.hold_reason) == (True, "Which screw?")
    assert case.held_since == datetime(2031, 3, 5, 15, tzinfo=UTC), "it stands still since Wednesday"
    say(case, question)
    case.refresh_from_db()
    assert (case.on_hold, case.hold_reason, open_stops(case).count()) == (False, "", 0)
    assert audit.trail(case)[-1].verb == "resumed"


def test_the_clock_stands_from_the_first_stop_to_the_last_answer() -> None:
    case = stopped()
    with time_machine.travel(MONDAY, tick=False):
        for message in open_stops(case):
            say(case, message)
    # Friday 14 March as promised, and three working days: Thursday, Friday, Monday.
    assert case.due_at == datetime(2031, 3, 19, 20, 30, tzinfo=UTC)


def test_what_was_never_complete_is_so_once_nothing_is_open() -> None:
    case = stopped()
    Case.objects.filter(pk=case.pk).update(complete_at=None, first_due_at=None)
    case.refresh_from_db()
    with time_machine.travel(MONDAY, tick=False):
        for message in open_stops(case):
            say(case, message)
    assert (case.complete_at, case.first_due_at) == (datetime(2031, 3, 10, 15, tzinfo=UTC), case.due_at)


def test_what_was_complete_and_promised_stays_so() -> None:
    case = stopped()
    first = case.complete_at, case.first_due_at
    assert first[0] == datetime(2031, 3, 5, 15, tzinfo=UTC)
    with time_machine.travel(MONDAY, tick=False):
        resume(cast.technician(), case)
    assert (case.complete_at, case.first_due_at) == first


def test_the_laboratory_answers_everything_at_once() -> None:
    case = resume(cast.technician(), stopped())
    assert not case.on_hold
    answers = Message.objects.filter(kind="answer")
    assert [(one.by, one.answers.text if one.answers else "") for one in answers] == [
        (cast.technician(), "Give the shade."),
        (cast.technician(), "Which screw?"),
    ]


def test_a_question_can_be_asked_while_something_is_missing() -> None:
    with time_machine.travel(WEDNESDAY, tick=False):
        case = build.signed_case()
        stop(case, "missing", "Give the shade.")
    with time_machine.travel(THURSDAY, tick=False):
        hold(cast.technician(), case, "Which screw?")
    assert case.hold_reason == "Give the shade. Which screw?"


def test_long_questions_are_cut_in_the_copy_only() -> None:
    case = build.signed_case()
    stop(case, "question", "x" * 150)
    stop(case, "duplicate", "y" * 150)
    assert (len(case.hold_reason), case.hold_reason[-1]) == (200, "…")
    assert [len(message.text) for message in open_stops(case)] == [150, 150]


@pytest.mark.parametrize("state", ["shipped", "cancelled"])
def test_what_has_left_is_left_alone(state: str) -> None:
    case = build.signed_case()
    stop(case, "question", "Which screw?")
    Case.objects.filter(pk=case.pk).update(state=state, held_since=None, hold_reason="")
    case.refresh_from_db()
    say(case, open_stops(case).get())
    assert audit.trail(case)[-1].verb == "put on hold"
    assert (case.on_hold, case.state) == (False, state)


def test_a_cancelled_case_waits_for_nothing() -> None:
    case = cancel(cast.manager(), stopped(), "The patient moved away.")
    assert (case.on_hold, case.hold_reason) == (False, "")


def test_nothing_is_answered_twice() -> None:
    case = stopped()
    message = open_stops(case).first()
    assert message is not None
    answer(case, message, cast.assistant(), "N2.")
    with pytest.raises(IntegrityError), transaction.atomic():
        answer(case, message, cast.assistant(), "N3.")
    assert Message.objects.filter(answers=message).count() == 1


@pytest.mark.parametrize(
    ("facts", "constraint"),
    [
        ({"kind": "chat"}, "message_kind_known"),
        ({"kind": "note", "stops": True}, "message_may_stop"),
        ({"kind": "answer"}, "message_answers_something"),
    ],
)
def test_a_message_that_cannot_be(facts: dict[str, Any], constraint: str) -> None:
    case = build.signed_case()
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        Message.objects.create(case=case, text="?", at=case.created_at, **facts)


def test_what_was_said_stays() -> None:
    case = stopped()
    message = open_stops(case).first()
    assert message is not None
    Reminder.objects.create(message=message, step=1, at=case.created_at)
    for change in (
        lambda: Message.objects.update(text="Forged."),
        lambda: Reminder.objects.update(step=2),
        lambda: Reminder.objects.all().delete(),
    ):
        with pytest.raises(IntegrityError, match="is append-only"), transaction.atomic():
            change()
    with refused("reason", "what the case waits for"):
        hold(cast.technician(), case, "")


def test_a_file_keeps_its_hash_and_its_case() -> None:
    case, other = build.signed_case(), build.signed_case(patient_ref="K-7")
    facts: dict[str, Any] = {"role": "sticker", "type": "pdf", "sha256": "a" * 64, "size": 9, "by": cast.assistant()}
    file = Attachment.objects.create(case=case, number=1, at=case.created_at, **facts)
    rows = Attachment.objects.filter(pk=file.pk)
    assert file.filename == "sticker-1.pdf"
    for change in ({"sha256": "b" * 64}, {"case": other}):
        with pytest.raises(IntegrityError, match="is append-only"), transaction.atomic():
            rows.update(**change)
    rows.update(state="refused", reason="It is no PDF.", progress=100)
    rows.update(withdrawn_at=case.created_at)
    with pytest.raises(IntegrityError, match="is append-only"), transaction.atomic():
        rows.update(reason="Another.")
