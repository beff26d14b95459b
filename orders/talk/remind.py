"""Reminding practices of what they are asked: three times, each once; then the laboratory calls."""

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet

from labqueue.base import audit
from orders.doors import lock
from orders.models import OPEN_STATES, Case, Message, Reminder
from orders.talk.notices import tell
from orders.treatment.evaluate import Asked, to_evaluate

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

# How long after the question, by the clock.
STEPS = {1: timedelta(hours=4), 2: timedelta(days=1), 3: timedelta(days=2)}
EVALUATE = "The weeks of trial are over. How did the provisional do?"


def remind(now: datetime) -> int:
    """Remind of every open question that is due, and ask for evaluations that are; how often.

    A service that stood still for days reminds once, with the step that is due by then.
    """
    latest_first = sorted(STEPS, reverse=True)
    questions = sum(remind_once(message, step, now) for step in latest_first for message in due(step, now))
    return questions + sum(ask_once(case, case.asked_since, now) for case in not_asked(now))


def open_questions() -> "QuerySet[Message]":
    """What is open on cases that have not left and were not cancelled."""
    return Message.objects.filter(stops=True, answer__isnull=True, case__state__in=OPEN_STATES)


def due(step: int, now: datetime) -> "QuerySet[Message]":
    """Open questions that are as old as that step, and were reminded of neither in it nor in a later one."""
    reminded = Reminder.objects.filter(message=OuterRef("pk"), step__gte=step)
    old = open_questions().filter(at__lte=now - STEPS[step]).exclude(Exists(reminded))
    return old.select_related("case__practice").order_by("case", "pk")


def not_asked(now: datetime) -> "QuerySet[WithAnnotations[Case, Asked]]":
    """Provisionals to be evaluated that nobody was asked about since they are."""
    asked = Message.objects.filter(case=OuterRef("pk"), kind=Message.Kind.REMINDER, at__gte=OuterRef("asked_since"))
    return to_evaluate(now).exclude(Exists(asked))


@transaction.atomic
def remind_once(message: Message, step: int, now: datetime) -> bool:
    """Remind of one question; whether this call did it. Under the lock of the case, so that no other does as well."""
    lock(message.case)
    if not due(step, now).filter(pk=message.pk).exists():
        return False
    Reminder.objects.create(message=message, step=step, at=now)
    audit.record(message.case, "reminded", None, after={"message": message.pk, "step": step})
    tell(message, step)
    return True


@transaction.atomic
def ask_once(case: Case, since: datetime, now: datetime) -> bool:
    """Ask how a provisional did, once for each time that it is to be evaluated; whether this call did it."""
    lock(case)
    if case.messages.filter(kind=Message.Kind.REMINDER, at__gte=since).exists():
        return False
    asked = Message.objects.create(case=case, kind=Message.Kind.REMINDER, text=EVALUATE, by=None, at=now)
    tell(asked)
    return True
