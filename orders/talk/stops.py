"""What a case stands still for: messages that stop it until they are answered. The only writer of a case's hold.

`Case.held_since` and `Case.hold_reason` are a copy of the open messages, so that lists, the floor and planning need not
ask for them. All of this belongs into the transaction of a verb that has locked the case.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.models import User
from labqueue.base.templatetags.house import moment
from orders import due
from orders.models import OVER_STATES, Case, Message, Prescription
from orders.talk.notices import tell

S = Case.State
# As much as a case says of what it waits for.
LENGTH = 200


def open_stops(case: Case) -> "QuerySet[Message]":
    """What has no answer yet, the oldest first."""
    return case.messages.filter(stops=True, answer__isnull=True).order_by("at", "pk")


def stop(
    case: Case,
    kind: str,
    text: str,
    actor: User | None = None,
    fields: Sequence[str] = (),
    **more: Any,
) -> Message:
    """Let the case stand still until somebody answers, and tell the practice. `fields` are those that are missing;
    None is the service."""
    message = Message.objects.create(
        case=case, kind=kind, text=text, by=actor, at=timezone.now(), stops=True, fields=list(fields), **more
    )
    stand_still(case, open_stops(case))
    audit.record(case, "put on hold", actor, after={"hold_reason": text, "held_since": message.at})
    tell(message)
    return message


def answer(case: Case, message: Message, actor: User | None, text: str, kind: str = Message.Kind.ANSWER) -> Message:
    """The answer to a message of the case. It goes on once `settle` finds nothing open."""
    return Message.objects.create(case=case, kind=kind, text=text, by=actor, at=timezone.now(), answers=message)


def settle(case: Case, actor: User | None) -> None:
    """After an answer: the case goes on where nothing is open any more, else it says what is still open.

    The clock stood: without an appointment, the due date moves by the working days on hold. A version that was signed
    during the hold has a due date of its own, which counts from that signature. With an appointment it is counted anew
    what can still be promised for it. A case that has left, or was cancelled, is left alone.
    """
    if case.state in OVER_STATES:
        return
    still = list(open_stops(case))
    if still:
        stand_still(case, still)
    elif case.held_since is not None:
        go_on(case, actor, case.held_since)


def stand_still(case: Case, still: Iterable[Message]) -> None:
    """The copy. A case that stands still already does so since then, whatever was answered meanwhile."""
    messages = list(still)
    case.held_since = case.held_since or messages[0].at
    words = " ".join(dict.fromkeys(message.text for message in messages))
    case.hold_reason = words if len(words) <= LENGTH else f"{words[: LENGTH - 1]}…"
    case.save(update_fields=["held_since", "hold_reason"])


def go_on(case: Case, actor: User | None, since: datetime) -> None:
    """Let the case go on with the date that it has now. From here on it is complete, if it was not before."""
    before: dict[str, Any] = {"hold_reason": case.hold_reason, "held_since": since, "due_at": case.due_at}
    conflict = move_date(case, since) if case.due_at is not None else ""
    case.held_since, case.hold_reason = None, ""
    case.save(update_fields=["held_since", "hold_reason", "due_at"])
    complete(case)
    audit.record(case, "resumed", actor, before=before, after={"due_at": case.due_at})
    tell_date(case, before["due_at"], conflict)


def move_date(case: Case, since: datetime) -> str:
    """Set the due date that the case has now; why its appointment can hardly be kept, empty where it can."""
    way, now = due.way_to(case.practice), timezone.now()
    if case.seat_at is None or case.current is None:
        if case.due_at is not None:
            case.due_at = due.after_hold(way, case.due_at, stood_since(case, since), now)
        return ""
    promise = due.promise_for(way, case.seat_at, case.current.makes, now, terms_left(case, case.current, way, now))
    case.due_at = promise.due_at if promise.due_at > now else promise.earliest
    return promise.conflict


def complete(case: Case) -> None:
    """Once a version is signed and nothing is open, nothing is missing any more: the first date counts from here on."""
    if case.current_id is not None and case.held_since is None:
        case.complete_at = case.complete_at or timezone.now()
        case.first_due_at = case.first_due_at or case.due_at
        case.save(update_fields=["complete_at", "first_due_at"])


def tell_date(case: Case, before: datetime | None, conflict: str) -> None:
    """A note of the service: when the case leaves, now that it goes on, or what stands against its date."""
    if case.due_at is None:
        return
    moved = f"; it was {moment(before)}" if before is not None and before != case.due_at else ""
    leaves = f"It leaves by {moment(case.due_at)}{moved}." if moved or not conflict else ""
    text = " ".join(filter(None, ["The case goes on.", leaves, conflict]))
    Message.objects.create(case=case, kind=Message.Kind.NOTE, text=text, by=None, at=timezone.now())


def stood_since(case: Case, since: datetime) -> datetime:
    """Since when the due date of a case that stood still has not been counted anew."""
    signed = case.current.signed_at if case.current else None
    return max(since, signed) if signed else since


def terms_left(case: Case, current: Prescription, way: due.Way, now: datetime) -> due.Terms:
    """The pace of what is still to be done of a version: nothing of finished pieces, and no approval once there is one.

    On the floor, every working day counts as worked on which the case did not stand still.
    """
    terms = due.terms_of(current)
    if case.state == S.FINISHED:
        return terms._replace(worked=terms.days(current.makes))
    if case.state != S.RELEASED or case.accepted_at is None or current.signed_at is None:
        return terms
    begun = max(case.accepted_at, current.signed_at)
    approved = case.messages.filter(kind=Message.Kind.APPROVED, at__gte=current.signed_at).exists()
    return terms._replace(approval=terms.approval and not approved, worked=days_worked(case, way, begun, now))


def days_worked(case: Case, way: due.Way, begun: datetime, now: datetime) -> int:
    """The laboratory's working days after that of `begun` on which nothing was open."""
    stops = case.messages.filter(stops=True, answer__at__gt=begun).values_list("at", "answer__at")
    stood = {day for stopped, back in stops for day in due.days_after(way, stopped, back)}
    return sum(way.laboratory.is_open(day) for day in set(due.days_after(way, begun, now)) - stood)
