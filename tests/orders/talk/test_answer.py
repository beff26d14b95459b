"""The laboratory asks, the case stands still, the practice answers, the case goes on with a date that is told."""

from datetime import UTC, datetime

import pytest
import time_machine

from labqueue.base import audit
from labqueue.base.errors import Conflict, Forbidden
from orders.cancel import cancel
from orders.models import Case, Message
from orders.talk.answer import answer
from orders.talk.stops import stop
from orders.talk.write import write
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused
from tests.orders.talk.build import asked_case

pytestmark = pytest.mark.django_db

WEDNESDAY, MONDAY = "2031-03-05T15:00:00Z", "2031-03-10T15:00:00Z"


def test_anybody_of_the_practice_answers_and_the_case_goes_on() -> None:
    case, question = asked_case()
    said = answer(cast.assistant(), case, question, " The long  one. ")
    assert (said.kind, said.text, said.by, said.answers) == ("answer", "The long one.", cast.assistant(), question)
    case.refresh_from_db()
    assert (case.on_hold, case.hold_reason) == (False, "")
    trail = [(event.verb, event.actor) for event in audit.trail(case)[-2:]]
    assert trail == [("answered", cast.assistant()), ("resumed", cast.assistant())]
    assert "The long one" not in str(audit.trail(case)[-2].after), "what was said stays in the conversation"


def test_the_clock_stood_and_the_new_date_is_told() -> None:
    with time_machine.travel(WEDNESDAY, tick=False):
        case, question = asked_case(seat_at=None)
    assert case.due_at == datetime(2031, 3, 14, 20, 30, tzinfo=UTC)
    with time_machine.travel(MONDAY, tick=False):
        answer(cast.assistant(), case, question, "The long one.")
        told = case.messages.get(kind="note")
    assert case.due_at == datetime(2031, 3, 19, 20, 30, tzinfo=UTC)
    assert told.text == "The case goes on. It leaves by Wed 19 Mar, 16:30; it was Fri 14 Mar, 16:30."
    assert told.by is None


def test_with_an_appointment_the_same_date_is_told() -> None:
    case, question = asked_case()
    due = case.due_at
    answer(cast.assistant(), case, question, "The long one.")
    assert case.due_at == due
    assert "it was" not in case.messages.get(kind="note").text


def test_it_stands_still_until_the_last_answer() -> None:
    case, question = asked_case()
    double = stop(case, "duplicate", "Two orders for one tooth.")
    answer(cast.assistant(), case, question, "The long one.")
    assert (case.on_hold, case.hold_reason) == (True, "Two orders for one tooth.")
    assert not case.messages.filter(kind="note").exists()
    answer(cast.assistant(), case, double, "Both are meant.")
    assert not case.on_hold


def test_what_the_prescription_lacks_is_filled_in_there_and_not_answered_in_words() -> None:
    """Only what is signed is made; the laboratory may write down what it did itself."""
    case, _ = asked_case()
    shade = stop(case, "missing", "Give the shade.")
    with refused("", "goes into the prescription", kind=Conflict):
        answer(cast.assistant(), case, shade, "N2")
    assert answer(cast.technician(), case, shade, "Disinfected here, 10 minutes.").answers == shade


def test_the_laboratory_writes_down_what_it_was_told() -> None:
    case, question = asked_case()
    said = answer(cast.technician(), case, question, "By telephone: the long one.")
    assert (said.by, case.on_hold) == (cast.technician(), False)


def test_two_answers_are_one_too_many() -> None:
    case, question = asked_case()
    answer(cast.assistant(), case, question, "The long one.")
    with refused("", "Somebody answered this before you", kind=Conflict):
        answer(cast.prescriber(), case, question, "The short one.")


def test_what_asks_nothing_is_not_answered() -> None:
    case = build.signed_case()
    note = write(cast.technician(), case, "We have it.")
    with refused("", "Nobody waits for an answer", kind=Conflict):
        answer(cast.assistant(), case, note, "Good.")


def test_a_case_that_is_over_waits_for_nothing() -> None:
    case, question = asked_case()
    cancel(cast.prescriber(), case, "The patient moved away.")
    with refused("", "is cancelled; nothing is open any more", kind=Conflict):
        answer(cast.assistant(), case, question, "The long one.")
    Case.objects.filter(pk=case.pk).update(state="shipped")
    with refused("", "nothing is open any more", kind=Conflict):
        answer(cast.assistant(), case, question, "The long one.")


def test_an_answer_says_something() -> None:
    case, question = asked_case()
    with refused("text", "Write in 1 to 1000 characters"):
        answer(cast.assistant(), case, question, "  ")
    assert Message.objects.filter(answers=question).count() == 0


def test_another_practice_answers_nothing() -> None:
    case, question = asked_case()
    stranger = cast.assistant("southgate")
    with refused("", "belongs to another practice", kind=Forbidden):
        answer(stranger, case, question, "The long one.")
