"""Holding a case while the laboratory waits for an answer, and taking it up again."""

from django.db import transaction

from labqueue.base.errors import Conflict, Fault, Refusal, refuse
from labqueue.base.models import User
from labqueue.base.visible import seen
from orders.doors import lock
from orders.models import Case, Message
from orders.talk.stops import answer, open_stops, settle, stop

S = Case.State
HOLDABLE = frozenset({S.SIGNED, S.ACCEPTED, S.RELEASED, S.FINISHED})
REASON_LENGTH = 200
# What the laboratory says where it takes up a case that the practice did not answer for.
ANSWERED_HERE = "The laboratory goes on."


@transaction.atomic
def hold(actor: User, case: Case, reason: str) -> Case:
    """Stop the case. `reason` is the question that the practice must answer; one question is open at a time."""
    lock(case)
    words = seen(reason)
    if not 3 <= len(words) <= REASON_LENGTH:
        why = f"Say in 3 to {REASON_LENGTH} characters what the case waits for; the practice reads it."
        raise Refusal([Fault("reason", why, "reason")])
    asked = open_stops(case).filter(kind=Message.Kind.QUESTION).exists()
    if asked or case.state not in HOLDABLE:
        now = "on hold already" if asked else case.get_state_display().lower()
        raise refuse("state", f"{case} is {now} and cannot be put on hold.", kind=Conflict)
    stop(case, Message.Kind.QUESTION, words, actor)
    return case


@transaction.atomic
def resume(actor: User, case: Case) -> Case:
    """Let the case go on: the laboratory answers all that is open itself."""
    lock(case)
    if not case.on_hold:
        raise refuse("state", f"{case} is not on hold.", kind=Conflict)
    for message in open_stops(case):
        answer(case, message, actor, ANSWERED_HERE)
    settle(case, actor)
    return case
