"""Reminders after four hours, a day and two days, each once; then the laboratory is told to call."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.models import OutboxRow
from labqueue.celery import app
from orders import tasks
from orders.cancel import cancel
from orders.models import Case, Message, Reminder
from orders.talk.answer import answer
from orders.talk.reads import to_call
from orders.talk.remind import remind
from tests import cast
from tests.orders.talk.build import DAY, HOUR, approver, asked_case, shown_design
from tests.orders.treatment.test_evaluate import say, seated

pytestmark = pytest.mark.django_db

SECOND = timedelta(seconds=1)


def steps(message: Message) -> list[int]:
    """What the practice was reminded of."""
    return [reminder.step for reminder in message.reminders.all()]


@pytest.mark.parametrize(("after", "step"), [(4 * HOUR, 1), (DAY, 2), (2 * DAY, 3)])
def test_each_step_is_due_to_the_second(after: timedelta, step: int) -> None:
    _, question = asked_case()
    assert remind(question.at + after - SECOND) == (0 if step == 1 else 1)
    before = steps(question)
    assert step not in before
    assert remind(question.at + after) == 1
    assert steps(question) == [*before, step]


def test_three_reminders_and_no_more() -> None:
    approver(email="doctor@northgate.example")
    case, question = asked_case()
    for hours in range(0, 24 * 5, 1):
        remind(question.at + hours * HOUR)
    assert [(one.step, one.at - question.at) for one in question.reminders.all()] == [
        (1, 4 * HOUR),
        (2, DAY),
        (3, 2 * DAY),
    ]
    assert OutboxRow.objects.filter(kind="mail").count() == 1 + 3
    assert [event.after.get("step") for event in audit.trail(case) if event.verb == "reminded"] == [1, 2, 3]


def test_after_days_of_silence_one_reminder_is_enough() -> None:
    _, question = asked_case()
    assert remind(question.at + 9 * DAY) == 1
    assert remind(question.at + 10 * DAY) == 0
    assert steps(question) == [3]


def test_whoever_answered_is_left_alone() -> None:
    case, question = asked_case(ago=3 * HOUR)
    answer(cast.assistant(), case, question, "The long one.")
    assert remind(timezone.now() + 3 * DAY) == 0
    assert steps(question) == []


def test_a_cancelled_case_is_left_alone() -> None:
    case, question = asked_case()
    cancel(cast.prescriber(), case, "The patient moved away.")
    assert remind(question.at + 3 * DAY) == 0


def test_a_case_that_has_left_is_left_alone() -> None:
    case, question = asked_case()
    Case.objects.filter(pk=case.pk).update(state="shipped", held_since=None, hold_reason="")
    assert remind(question.at + 3 * DAY) == 0
    assert not Reminder.objects.exists()


def test_a_design_is_reminded_of_as_well() -> None:
    _, shown = shown_design()
    assert remind(shown.at + 4 * HOUR) == 1
    assert steps(shown) == [1]


def test_after_two_days_the_laboratory_calls() -> None:
    case, question = asked_case()
    assert list(to_call(question.at + 2 * DAY - SECOND)) == []
    with CaptureQueriesContext(connection) as queries:
        (found,) = to_call(question.at + 2 * DAY)
        assert (found.case.practice.phone, found.text) == ("555 0100", "Which screw?")
    assert len(queries) == 1
    answer(cast.technician(), case, question, "By telephone: the long one.")
    assert list(to_call(question.at + 2 * DAY)) == []


def test_an_evaluation_is_asked_for_once_each_time_it_is_due() -> None:
    approver(email="doctor@northgate.example")
    case, now = seated(25), timezone.now()
    assert [remind(now), remind(now + HOUR), remind(now + 30 * DAY)] == [1, 0, 0]
    asked = case.messages.get(kind="reminder")
    assert (asked.by, asked.stops, case.on_hold) == (None, False, False)
    assert OutboxRow.objects.filter(kind="mail").count() == 1
    say(case, decision="wait")
    assert remind(now + 20 * DAY) == 0
    assert [remind(now + 22 * DAY), remind(now + 23 * DAY)] == [1, 0]


def test_the_clock_of_the_service_reminds() -> None:
    _, question = asked_case(ago=5 * HOUR)
    entry = app.conf.beat_schedule["orders: remind practices"]
    assert (entry["task"], entry["schedule"]) == (tasks.remind_practices.name, 600.0)
    run: Callable[[], None] = app.tasks[entry["task"]].run
    run()
    assert steps(question) == [1]
