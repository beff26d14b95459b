"""Cancelling a case."""

from collections.abc import Sequence

from django.db import transaction
from django.utils import timezone

from labqueue.base.errors import Conflict, Fault, Refusal, refuse
from labqueue.base.models import User
from labqueue.base.visible import seen
from orders.doors import lock, own_case
from orders.lifecycle import MOVES, advance
from orders.models import Case, Message

S = Case.State
SHORTEST, LONGEST = 3, 200
SAID = 1000


@transaction.atomic
def cancel(actor: User, case: Case, reason: str = "") -> Case:
    """Take the case out of the house for good. A draft needs no reason; what was signed does.

    Raises Forbidden for other practices, Conflict where it is being made (the floor stops it then) or is made,
    Refusal without a reason.
    """
    lock(case)
    if not actor.works_here:
        own_case(actor, case)
    if case.state == S.RELEASED:
        who = "Stop it on the floor." if actor.works_here else "Ask the laboratory to stop it."
        raise refuse("state", f"{case} is already being made. {who}", kind=Conflict)
    return end(actor, case, reason)


def end(actor: User, case: Case, reason: str, made: Sequence[str] = ()) -> Case:
    """End a locked case, in the caller's transaction; say on it why, and what was `made` already, a text a piece."""
    words = seen(reason)
    wanted = case.state != S.DRAFT and S.CANCELLED in MOVES[case.state]
    if wanted and not SHORTEST <= len(words) <= LONGEST:
        why = f"Say in {SHORTEST} to {LONGEST} characters why it is cancelled; practice and laboratory read it."
        raise Refusal([Fault("reason", why, "reason")])
    advance(
        case,
        S.CANCELLED,
        verb="cancelled",
        actor=actor,
        held_since=None,
        hold_reason="",
        cancel_reason=words,
    )
    if words or made:
        text = " ".join([f"Cancelled: {words}" if words else "Cancelled.", *made])[:SAID]
        Message.objects.create(case=case, kind=Message.Kind.NOTE, text=text, by=actor, at=timezone.now())
    return case
