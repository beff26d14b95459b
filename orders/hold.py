"""Holding a case while the laboratory waits for an answer, and taking it up again."""

from datetime import datetime

from django.db import transaction
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Conflict, Fault, Refusal, refuse
from labqueue.base.models import User
from orders import due
from orders.doors import lock
from orders.models import Case

S = Case.State
HOLDABLE = frozenset({S.SIGNED, S.ACCEPTED, S.RELEASED, S.FINISHED})
REASON_LENGTH = 200


@transaction.atomic
def hold(actor: User, case: Case, reason: str) -> Case:
    """Stop the case. `reason` is the question that the practice must answer."""
    lock(case)
    words = " ".join(reason.split())
    if not 3 <= len(words) <= REASON_LENGTH:
        why = f"Say in 3 to {REASON_LENGTH} characters what the case waits for; the practice reads it."
        raise Refusal([Fault("reason", why, "reason")])
    if case.on_hold or case.state not in HOLDABLE:
        now = "on hold already" if case.on_hold else case.get_state_display().lower()
        raise refuse("state", f"{case} is {now} and cannot be put on hold.", kind=Conflict)
    case.held_since, case.hold_reason = timezone.now(), words
    case.save(update_fields=["held_since", "hold_reason"])
    audit.record(case, "put on hold", actor, after={"hold_reason": words, "held_since": case.held_since})
    return case


@transaction.atomic
def resume(actor: User, case: Case) -> Case:
    """Let the case go on. The clock stood: without an appointment, the due date moves by the working days on hold.

    A version that was signed during the hold has a due date of its own, which counts from that signature.
    """
    lock(case)
    if case.held_since is None:
        raise refuse("state", f"{case} is not on hold.", kind=Conflict)
    before = {"hold_reason": case.hold_reason, "held_since": case.held_since, "due_at": case.due_at}
    if case.due_at is not None and case.seat_at is None:
        case.due_at = due.after_hold(due.way_to(case.practice), case.due_at, stood_since(case), timezone.now())
    case.held_since, case.hold_reason = None, ""
    case.save(update_fields=["held_since", "hold_reason", "due_at"])
    audit.record(case, "resumed", actor, before=before, after={"due_at": case.due_at})
    return case


def stood_since(case: Case) -> datetime:
    """Since when the due date of a held case has not been counted anew."""
    assert case.held_since is not None
    signed = case.current.signed_at if case.current else None
    return max(case.held_since, signed) if signed else case.held_since
