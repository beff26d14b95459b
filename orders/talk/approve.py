"""What the practice decides about a design: made so, or changed first. It stays under that person's name."""

from django.db import transaction

from labqueue.base import audit
from labqueue.base.errors import Conflict, Forbidden, refuse
from labqueue.base.models import User
from orders.doors import lock, own_case
from orders.models import Case, Message
from orders.talk import stops
from orders.talk.answer import check_open
from orders.talk.text import written

APPROVE, CHANGE = "approve", "change"
APPROVED = "Made as shown."


@transaction.atomic
def approve(actor: User, case: Case, message: Message) -> Message:
    """The design is made as it was shown; the case goes on.

    Raises Forbidden for whoever may not approve, Conflict where it was decided already or the file was withdrawn.
    """
    check_decision(actor, case, message)
    if message.attachment is None or message.attachment.withdrawn_at is not None:
        raise refuse("message", "This design was withdrawn. Wait for the next one.", kind=Conflict)
    return keep(actor, case, message, Message.Kind.APPROVED, APPROVED)


@transaction.atomic
def want_changes(actor: User, case: Case, message: Message, text: str) -> Message:
    """The design is changed as `text` says; the case goes on, but nothing is milled before a design is approved.

    Raises Forbidden for whoever may not approve, Conflict where it was decided already, Refusal without a text.
    """
    check_decision(actor, case, message)
    return keep(actor, case, message, Message.Kind.CHANGES, written(text))


def decide(actor: User, case: Case, message: Message, decision: str, text: str = "") -> Message:
    """One of the two, by its word. Raises Refusal for any other."""
    if decision == APPROVE:
        return approve(actor, case, message)
    if decision == CHANGE:
        return want_changes(actor, case, message, text)
    raise refuse("decision", f"Choose one of {APPROVE}, {CHANGE}.", "decision")


def check_decision(actor: User, case: Case, message: Message) -> None:
    """Lock the case and raise where this person cannot decide this now."""
    lock(case)
    if not own_case(actor, case).may_approve:
        why = "Only somebody of the practice who may approve designs can decide this. Ask one to open this case."
        raise refuse("approver", why, kind=Forbidden)
    if message.kind != Message.Kind.APPROVAL:
        raise refuse("message", "This is no design. Answer it in words.", kind=Conflict)
    check_open(case, message)


def keep(actor: User, case: Case, message: Message, kind: Message.Kind, text: str) -> Message:
    """Keep the decision, and let the case go on."""
    decision = stops.answer(case, message, actor, text, kind)
    verb = "approved the design" if kind == Message.Kind.APPROVED else "wants the design changed"
    audit.record(case, verb, actor, after={"message": decision.pk, "answers": message.pk})
    stops.settle(case, actor)
    return decision
