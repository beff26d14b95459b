"""Accepting a signed case: the laboratory takes it on, with its date."""

from django.db import transaction
from django.utils import timezone

from labqueue.base.models import User
from orders.doors import lock
from orders.lifecycle import advance
from orders.models import Case


@transaction.atomic
def accept(actor: User, case: Case) -> Case:
    """signed -> accepted. Raises Conflict in any other state, and on hold."""
    lock(case)
    advance(case, Case.State.ACCEPTED, verb="accepted", actor=actor, accepted_at=timezone.now())
    return case
