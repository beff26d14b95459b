"""Answering what the laboratory asked: the case goes on once nothing else is open."""

from django.db import transaction

from labqueue.base import audit
from labqueue.base.errors import Conflict, refuse
from labqueue.base.models import User
from orders.doors import lock, own_case
from orders.models import OVER_STATES, Case, Message
from orders.talk import stops
from orders.talk.text import written


@transaction.atomic
def answer(actor: User, case: Case, message: Message, text: str) -> Message:
    """The answer to `message`, by anybody of the practice, or by the laboratory where it was given by telephone.

    Raises Forbidden for other practices, Conflict where it was answered already, where the case is over, for a design,
    which is approved and not answered, and for the practice where the prescription lacks something, for only what is
    signed is made; Refusal where nothing is said.
    """
    lock(case)
    if not actor.works_here:
        own_case(actor, case)
    if message.kind == Message.Kind.APPROVAL:
        why = "A design is not answered in words. Approve it, or say what is to be changed."
        raise refuse("message", why, kind=Conflict)
    if message.kind == Message.Kind.MISSING and not actor.works_here:
        why = "What is missing goes into the prescription: fill it in and have it signed; then the case goes on."
        raise refuse("message", f"{why} Anything else goes into a note.", kind=Conflict)
    check_open(case, message)
    said = stops.answer(case, message, actor, written(text))
    audit.record(case, "answered", actor, after={"message": said.pk, "answers": message.pk})
    stops.settle(case, actor)
    return said


def check_open(case: Case, message: Message) -> None:
    """Raise Conflict where there is nothing to be answered any more. The case must be locked."""
    if case.state in OVER_STATES:
        over = case.get_state_display().lower()
        raise refuse("state", f"{case} is {over}; nothing is open any more. Write a note.", kind=Conflict)
    if not message.stops:
        raise refuse("message", "Nobody waits for an answer to this. Write a note.", kind=Conflict)
    if Message.objects.filter(answers=message).exists():
        why = "Somebody answered this before you. Read the answer; what is to be added goes into a note."
        raise refuse("message", why, kind=Conflict)
