"""The audit trail: one append-only chain per subject, tamper-evident by hashes.

Verifying finds an event that was changed, removed, moved or added, and a tail that was cut off. It cannot find that
somebody who may do everything in the database wrote a chain anew, head included: against that, keep heads elsewhere.
"""

import hashlib
import json
import math
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from django.db import models, transaction
from django.utils import timezone

from labqueue.base import transactions
from labqueue.base.models import Chain, Event, User


def chain_name(subject: models.Model) -> str:
    """The chain of a row, such as `orders.case:12`."""
    return f"{subject._meta.label_lower}:{subject.pk}"


def record(
    subject: models.Model | str,
    verb: str,
    actor: User | None,
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
) -> Event:
    """Append one event to the chain of `subject`, in the caller's transaction. `actor` None is the service itself.

    The chain stays locked until the commit; who writes to several chains does it in a fixed order (case before item).
    Raises django.db.transaction.TransactionManagementError outside a transaction.
    """
    transactions.required("an audit event belongs into the transaction of its change")
    name = subject if isinstance(subject, str) else chain_name(subject)
    head, _ = Chain.objects.select_for_update(no_key=True).get_or_create(name=name)
    event = Event(chain=head, seq=head.length + 1, at=timezone.now(), actor=actor, verb=verb, prev=head.hash)
    event.before, event.after = plain(before or {}), plain(after or {})
    event.hash = seal(event)
    event.save(force_insert=True)
    Chain.objects.filter(pk=head.pk).update(length=event.seq, hash=event.hash)
    return event


def seal(event: Event) -> str:
    """SHA-256 over the event's facts and the seal before it, as canonical JSON."""
    facts = {
        "chain": event.chain.name,
        "seq": event.seq,
        "at": event.at.astimezone(UTC).isoformat(timespec="microseconds"),
        "actor": event.actor_id,
        "verb": event.verb,
        "before": event.before,
        "after": event.after,
        "prev": event.prev,
    }
    return hashlib.sha256(json.dumps(facts, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


@dataclass(frozen=True)
class Break:
    """The first place where a chain does not hold."""

    chain: str
    seq: int
    why: str


def verify(chain: Chain) -> Break | None:
    """The first broken event of a chain, or None. Nobody can append meanwhile."""
    with transaction.atomic():
        head = Chain.objects.select_for_update(no_key=True).get(pk=chain.pk)
        return _first_break(head)


def _first_break(head: Chain) -> Break | None:
    prev, seq = "", 0
    for event in head.events.select_related("chain").order_by("seq"):
        seq += 1
        if event.seq != seq:
            return Break(head.name, seq, "an event is missing")
        if event.prev != prev or event.hash != seal(event):
            return Break(head.name, seq, "the event was changed")
        if seq > head.length:
            return Break(head.name, seq, "the event was added past the head")
        prev = event.hash
    if (head.length, head.hash) != (seq, prev):
        return Break(head.name, seq + 1, "the end of the chain is missing")
    return None


def trail(subject: models.Model) -> list[Event]:
    """All events of a row, oldest first, with their actors."""
    return list(Event.objects.filter(chain__name=chain_name(subject)).select_related("actor").order_by("seq"))


def instant(at: datetime) -> str:
    """An instant for an event's facts: ISO 8601 in UTC."""
    return at.astimezone(UTC).isoformat(timespec="seconds")


def plain(values: dict[str, Any]) -> dict[str, Any]:
    """Values as an event can hold them: rows by their id, instants in UTC, what JSON does not know as text."""
    return {str(name): _plain(value) for name, value in values.items()}


def _plain(value: Any) -> Any:
    match value:
        case models.Model():
            return _plain(value.pk)
        case datetime():
            return instant(value)
        case dict():
            return plain(value)
        case list() | tuple():
            return [_plain(part) for part in value]
        case float():
            return _number(value)
        case str() | int() | None:
            return value
    return str(value)


def _number(value: float) -> float | int | str:
    """A number that both databases give back as it was: PostgreSQL keeps 1e20 as a whole number, and no infinity."""
    if not math.isfinite(value):
        return str(value)
    return int(value) if value.is_integer() else value
