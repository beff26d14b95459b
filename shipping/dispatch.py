"""Sending a box away: the delivery is shipped, the case with it, and the invoice is issued."""

from django.db import transaction
from django.utils import timezone

from labqueue.base.errors import Conflict, Fault, Refusal, refuse
from labqueue.base.models import User
from labqueue.base.moves import move
from labqueue.production.people import laboratory_only
from orders.doors import lock
from orders.lifecycle import advance
from orders.models import Case
from shipping.invoicing import issue
from shipping.models import Delivery

S = Delivery.State
MOVES: dict[str, frozenset[str]] = {S.PACKED: frozenset({S.SHIPPED}), S.SHIPPED: frozenset()}
LENGTH = 40


@transaction.atomic
def dispatch(actor: User, case: Case, carrier: str, tracking: str = "") -> Delivery:
    """packed -> shipped. The invoice's number is drawn last, so that nobody waits longer for the next than need be.

    Raises Refusal where the carrier is missing, and Conflict where the case is not packed, is on hold, or a price is
    missing.
    """
    laboratory_only(actor)
    carrier, tracking = check_words(carrier, tracking)
    lock(case)
    delivery = Delivery.objects.filter(case=case).first()
    if delivery is None:
        why = f"{case} is {case.get_state_display().lower()}. Pack it first."
        raise refuse("state", why, "case", kind=Conflict)
    delivery.case = case
    now = timezone.now()
    facts = {"shipped_at": now, "shipped_by": actor, "carrier": carrier, "tracking": tracking}
    move(delivery, S.SHIPPED, verb="shipped", actor=actor, moves=MOVES, **facts)
    advance(case, Case.State.SHIPPED, verb="shipped", actor=actor, shipped_at=now)
    issue(actor, delivery)
    return delivery


def check_words(carrier: str, tracking: str) -> tuple[str, str]:
    """Both in one line each. Raises Refusal naming each field that does not do."""
    words = {"carrier": " ".join(carrier.split()), "tracking": " ".join(tracking.split())}
    faults = [
        Fault("length", f"The {name} has at most {LENGTH} characters.", name)
        for name, text in words.items()
        if len(text) > LENGTH
    ]
    if not words["carrier"]:
        faults.append(Fault("required", "Say who carries the box, such as the courier's name.", "carrier"))
    if faults:
        raise Refusal(faults)
    return words["carrier"], words["tracking"]
