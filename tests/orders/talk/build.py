"""Conversations for tests, made by the real verbs."""

from datetime import timedelta
from typing import Any

import time_machine
from django.utils import timezone

from labqueue.base.models import User
from orders.hold import hold
from orders.models import Attachment, Case, Member, Message
from orders.talk.ask_approval import ask_approval
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


def design(case: Case, **facts: Any) -> Attachment:
    """A design of the case as a file that was checked; what it holds plays no part here."""
    number = case.attachments.count() + 1
    given = {"role": "design", "type": "stl", "number": number, "file": f"{number}.stl", "sha256": f"{number:064d}"}
    made = {"size": 9, "state": "ready", "by": cast.technician(), "at": timezone.now(), **facts}
    found: Attachment = Attachment.objects.create(case=case, **{**given, **made})
    return found


def shown_design(**facts: Any) -> tuple[Case, Message]:
    """An accepted case whose design waits for the practice, and the message that shows it."""
    case = build.accepted_case(**facts)
    return case, ask_approval(cast.technician(), case, "Please look at the design.", design(case))
