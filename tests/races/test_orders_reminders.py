"""Reminders and answers at the same moment: each is given once, and nobody is reminded of what is answered."""

import pytest
from django.db import DatabaseError
from django.utils import timezone

from labqueue.base import audit, outbox, tasks
from labqueue.base.errors import Conflict
from labqueue.base.models import Chain, OutboxRow
from orders.models import Case, Message, Reminder
from orders.talk.answer import answer
from orders.talk.approve import approve, want_changes
from orders.talk.remind import remind
from tests import cast
from tests.orders.talk.build import DAY, approver, asked_case, shown_design
from tests.races.together import together, without_row_locks

pytestmark = [pytest.mark.postgres, pytest.mark.django_db(transaction=True)]

WORKERS = 4


@pytest.fixture(autouse=True)
def alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """No broker: the tests run the rows themselves."""
    monkeypatch.setattr(tasks.run_outbox, "apply_async", lambda *args, **options: None)


def whole(case: Case) -> None:
    """The audit chain of the case holds."""
    assert audit.verify(Chain.objects.get(name=audit.chain_name(case))) is None


def test_workers_that_remind_at_once_remind_once() -> None:
    approver(email="doctor@northgate.example")
    questions = [asked_case(patient_ref=f"K-{number}")[1] for number in range(3)]
    now = timezone.now() + DAY
    assert sum(together(WORKERS, lambda _: remind(now))) == len(questions)
    assert Reminder.objects.filter(step=2).count() == Reminder.objects.count() == len(questions)
    assert OutboxRow.objects.filter(kind="mail").count() == 2 * len(questions)
    for question in questions:
        whole(question.case)


def test_without_the_lock_the_database_still_lets_only_one_through(monkeypatch: pytest.MonkeyPatch) -> None:
    """The positive control: the race is there, and the constraint holds where the lock is taken off."""
    asked_case()
    now = timezone.now() + DAY
    without_row_locks(monkeypatch)

    def attempt(_: int) -> str:
        try:
            return str(remind(now))
        except DatabaseError as error:
            return type(error).__name__

    assert "1" in together(WORKERS, attempt)
    assert Reminder.objects.count() == 1


def test_workers_that_take_the_same_mail_send_it_once(mailoutbox: list[object]) -> None:
    approver(email="doctor@northgate.example")
    asked_case()
    row = OutboxRow.objects.get(kind="mail")
    assert together(WORKERS, lambda _: outbox.run(row.pk)).count(True) == 1
    assert len(mailoutbox) == 1


def attempt_answer(number: int, case: Case, question: Message) -> str:
    """Answer as one of several people."""
    person = [cast.assistant, cast.prescriber][number % 2]()
    try:
        answer(person, Case.objects.get(pk=case.pk), question, f"Answer {number}.")
    except Conflict as refusal:
        return str(refusal)
    return "won"


def test_a_question_is_answered_once() -> None:
    case, question = asked_case()
    cast.assistant(), cast.prescriber()
    found = together(WORKERS, lambda number: attempt_answer(number, case, question))
    assert found.count("won") == 1
    assert all("Somebody answered this before you" in text for text in found if text != "won")
    assert Message.objects.filter(answers=question).count() == 1
    assert Message.objects.filter(case=case, kind="note").count() == 1, "the case went on once"
    whole(case)


def test_a_design_is_approved_or_sent_back() -> None:
    case, shown = shown_design()
    person = approver()

    def decide(number: int) -> str:
        found = Case.objects.get(pk=case.pk)
        try:
            want_changes(person, found, shown, "Lower.") if number % 2 else approve(person, found, shown)
        except Conflict:
            return "refused"
        return "won"

    assert together(WORKERS, decide).count("won") == 1
    assert Message.objects.filter(answers=shown).count() == 1


def test_nobody_is_reminded_of_what_is_answered_at_that_moment() -> None:
    case, question = asked_case()
    cast.assistant(), cast.prescriber()
    now = timezone.now() + DAY
    together(2, lambda number: remind(now) if number else attempt_answer(0, case, question))
    events = [event.verb for event in audit.trail(case)]
    assert "answered" in events
    assert "reminded" not in events[events.index("answered") :]
    whole(case)
