"""Saying something about a case that nobody must answer."""

from django.db import transaction
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.models import User
from orders.doors import lock, own_case
from orders.models import Case, Message
from orders.talk.text import written


@transaction.atomic
def write(actor: User, case: Case, text: str) -> Message:
    """A note, by the practice of the case or by the laboratory; the case goes on as before.

    Raises Forbidden for other practices, Refusal where nothing is said.
    """
    lock(case)
    if not actor.works_here:
        own_case(actor, case)
    words = written(text)
    note = Message.objects.create(case=case, kind=Message.Kind.NOTE, text=words, by=actor, at=timezone.now())
    audit.record(case, "wrote", actor, after={"message": note.pk})
    return note
