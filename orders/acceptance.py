"""Accepting a signed case: the laboratory takes it on, with its date."""

from django.db import transaction
from django.utils import timezone

from labqueue.base.errors import Conflict
from labqueue.base.models import User
from orders.check import look_at
from orders.doors import lock
from orders.findings import Moment
from orders.lifecycle import advance
from orders.models import Case
from orders.rules import hits


@transaction.atomic
def accept(actor: User, case: Case) -> Case:
    """signed -> accepted. An order in a rush is accepted as such.

    Raises Conflict in any other state, on hold, and where what meets the implant is not known.
    """
    lock(case)
    if not case.on_hold:
        ready_to_make(case)
    now = timezone.now()
    advance(case, Case.State.ACCEPTED, verb="accepted", actor=actor, accepted_at=now, accepted_by=actor)
    return case


def ready_to_make(case: Case) -> None:
    """Raises Conflict where the rules let nothing of the current version be made, whatever was answered."""
    found = hits(Moment.RELEASE, look_at(case, case.current)) if case.current else []
    if found:
        raise Conflict([one.fault() for one in found])
