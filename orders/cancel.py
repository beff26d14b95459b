"""Cancelling a case."""

from django.db import transaction

from labqueue.base.errors import Conflict, refuse
from labqueue.base.models import User
from orders.doors import lock, own_case
from orders.lifecycle import advance
from orders.models import Case

S = Case.State


@transaction.atomic
def cancel(actor: User, case: Case) -> Case:
    """Take the case out of the house for good. A practice can do it until the case is on the floor."""
    lock(case)
    if not actor.works_here:
        own_case(actor, case)
        if case.state == S.RELEASED:
            raise refuse("state", f"{case} is already being made. Ask the laboratory to cancel it.", kind=Conflict)
    advance(case, S.CANCELLED, verb="cancelled", actor=actor, held_since=None, hold_reason="")
    return case
