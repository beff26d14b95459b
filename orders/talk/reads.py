"""What was said about a case, as its page and the interface show it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from labqueue.base.errors import NotFound, refuse
from labqueue.base.models import User
from labqueue.base.roles import Role
from orders.models import OVER_STATES, Case, Member, Message
from orders.rules.design import BLANK, UNITS
from orders.talk.remind import STEPS, open_questions


@dataclass(frozen=True)
class Line:
    """One thing that was said, for who reads it."""

    message: Message
    speaker: str
    # What was measured in a design: `wall 0.80 mm`.
    figures: Sequence[str] = ()

    @property
    def is_open(self) -> bool:
        """Whether the case stands still for it."""
        return self.message.stops and not hasattr(self.message, "answer") and self.message.case.state not in OVER_STATES


@dataclass(frozen=True)
class Talk:
    """Everything that was said, the latest first."""

    lines: Sequence[Line]

    @property
    def open(self) -> list[Line]:
        """What the practice is asked now, the latest first."""
        return [line for line in self.lines if line.is_open]


def talk_of(case: Case, reader: User) -> Talk:
    """The conversation on a case as `reader` may read it. Two queries."""
    said = case.messages.select_related("case", "by", "attachment", "answer", "answers")
    latest_first = said.prefetch_related("reminders").order_by("-at", "-pk")
    return Talk([Line(message, speaker(message, reader), figures(message)) for message in latest_first])


def speaker(message: Message, reader: User) -> str:
    """Who said it. A practice does not see the names of people of the laboratory."""
    if message.by is None:
        return "the service"
    return "the laboratory" if message.by.works_here and not reader.works_here else message.by.shown_name


def figures(message: Message) -> list[str]:
    """What was measured, in words."""
    measured = {name: value for name, value in message.figures.items() if name in BLANK}
    return [f"{name} {value}{UNITS.get(name, ' mm')}" for name, value in measured.items()]


def message_of(case: Case, pk: int) -> Message:
    """A message of that case. Raises NotFound for all others."""
    found = case.messages.filter(pk=pk).first()
    if found is None:
        raise refuse("message", f"Nothing of that number was said about {case}.", "message", kind=NotFound)
    return found


def may_write(user: User) -> bool:
    """Whether somebody takes part in the conversations that he may read."""
    return user.role in (Role.PRACTICE, Role.TECHNICIAN, Role.MANAGER)


def may_approve(user: User) -> bool:
    """Whether somebody approves designs for his practice."""
    return Member.objects.filter(user=user, may_approve=True).exists()


def approved(case: Case) -> bool:
    """Whether the practice has approved the design that was shown last of what is signed now."""
    if case.current is None or case.current.signed_at is None:
        return False
    shown = case.messages.filter(kind=Message.Kind.APPROVAL, at__gte=case.current.signed_at)
    last = shown.select_related("answer").order_by("at", "pk").last()
    return last is not None and hasattr(last, "answer") and last.answer.kind == Message.Kind.APPROVED


def to_call(now: datetime) -> "QuerySet[Message]":
    """What practices were reminded of to no avail, the longest first: the laboratory calls them. One query."""
    old = open_questions().filter(at__lte=now - STEPS[max(STEPS)])
    return old.select_related("case__practice", "case__outlook").order_by("at", "pk")
