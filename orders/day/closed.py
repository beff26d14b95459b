"""The single days on which a practice takes no delivery: said by the practice, counted by every date from then on."""

from datetime import date, timedelta

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Conflict, Fault, NotFound, Refusal, refuse
from labqueue.base.models import User
from labqueue.base.templatetags.house import day as in_words
from orders.doors import member_of
from orders.due import HORIZON_DAYS
from orders.models import Practice, PracticeClosedDay

NAME_LENGTH = 60


def ahead(practice: Practice) -> "QuerySet[PracticeClosedDay]":
    """The practice's closed days from today on."""
    return practice.closed_days.filter(day__gte=timezone.localdate()).order_by("day")


@transaction.atomic
def close_day(actor: User, day: date | None, name: str) -> PracticeClosedDay:
    """The practice of `actor` takes no delivery on that day. Dates that were promised stay as they are.

    Raises Forbidden for people of the laboratory, Refusal with every fault, Conflict where the day is closed already.
    """
    practice, words = member_of(actor).practice, " ".join(name.split())
    if faults := day_faults(day) + name_faults(words):
        raise Refusal(faults)
    assert day is not None
    closed, is_new = PracticeClosedDay.objects.get_or_create(practice=practice, day=day, defaults={"name": words})
    if not is_new:
        raise refuse("day", f"{in_words(day)} is closed already: {closed.name}.", field="day", kind=Conflict)
    audit.record(practice, "close day", actor, after={"day": day, "name": words})
    return closed


@transaction.atomic
def reopen_day(actor: User, pk: int) -> None:
    """The practice takes deliveries on that day after all. Raises NotFound for any day that it has not closed."""
    practice = member_of(actor).practice
    closed = PracticeClosedDay.objects.select_for_update().filter(practice=practice, pk=pk).first()
    if closed is None:
        raise refuse("day", "Your practice has not closed this day.", kind=NotFound)
    audit.record(practice, "reopen day", actor, before={"day": closed.day, "name": closed.name})
    closed.delete()


def day_faults(day: date | None) -> list[Fault]:
    """A day that lies behind changes nothing any more, and one years ahead is a slip of the pen."""
    today = timezone.localdate()
    last = today + timedelta(days=HORIZON_DAYS)
    if day is not None and today <= day <= last:
        return []
    return [Fault("day", f"Give a day from today to {last:%Y-%m-%d}.", "day")]


def name_faults(name: str) -> list[Fault]:
    """Why the practice is closed, for whoever reads the calendar later."""
    if 1 <= len(name) <= NAME_LENGTH:
        return []
    return [Fault("name", f"Say in at most {NAME_LENGTH} characters why, such as “Bank holiday”.", "name")]
