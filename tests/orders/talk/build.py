"""Conversations for tests, made by the real verbs."""

from datetime import timedelta
from typing import Any

import time_machine
from django.utils import timezone

from labqueue.base.models import User
from orders.hold import hold
from orders.models import Case, Member, Message
from orders.talk.stops import open_stops
from tests import cast
from tests.orders import build

HOUR, DAY = timedelta(hours=1), timedelta(days=1)


def asked_case(text: str = "Which screw?", ago: timedelta = timedelta(0), **facts: Any) -> tuple[Case, Message]:
    """A signed case that stands still for a question since a while ago, and the question."""
    with time_machine.travel(timezone.now() - ago, tick=False):
        case = hold(cast.technician(), build.signed_case(**facts), text)
    return case, open_stops(case).get()


def approver(code: str = "northgate", email: str = "") -> User:
    """The licensed person of that practice, who may approve designs, with an address for notices."""
    person = cast.prescriber(code)
    Member.objects.filter(user=person).update(may_approve=True)
    User.objects.filter(pk=person.pk).update(email=email)
    person.refresh_from_db()
    return person
