"""The audit trail: one append-only chain per subject, tamper-evident by hashes."""

import hashlib
import json
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from django.db import models, transaction
from django.utils import timezone

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

    Raises django.db.transaction.TransactionManagementError outside a transaction.
    """
    if not transaction.get_connection().in_atomic_block:
        raise transaction.TransactionManagementError("an audit event belongs into the transaction of its change")
    name = subject if isinstance(subject, str) else chain_name(subject)
    Chain.objects.get_or_create(name=name)
    head = Chain.objects.select_for_update().get(name=name)
    event = Event(chain=head, seq=head.length + 1, at=timezone.now(), actor=actor, verb=verb, prev=head.hash)
    event.before, event.after = before or {}, after or {}
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
    """The first broken event of a chain, or None. A tail that was cut off shows against the head."""
    prev, seq = "", 0
    for event in chain.events.select_related("chain").order_by("seq"):
        seq += 1
        if event.seq != seq:
            return Break(chain.name, seq, "an event is missing")
        if event.prev != prev or event.hash != seal(event):
            return Break(chain.name, seq, "the event was changed")
        prev = event.hash
    if (chain.length, chain.hash) != (seq, prev):
        return Break(chain.name, seq + 1, "the end of the chain is missing")
    return None


def trail(subject: models.Model) -> list[Event]:
    """All events of a row, oldest first, with their actors."""
    return list(Event.objects.filter(chain__name=chain_name(subject)).select_related("actor").order_by("seq"))


def instant(at: datetime) -> str:
    """An instant for an event's facts: ISO 8601 in UTC."""
    return at.astimezone(UTC).isoformat(timespec="seconds")


def plain(values: dict[str, Any]) -> dict[str, Any]:
    """Values as an event can hold them: rows by their id, instants in UTC, everything else that is not plain as text."""
    return {name: _plain(value) for name, value in values.items()}


def _plain(value: Any) -> Any:
    if isinstance(value, models.Model):
        return value.pk
    if isinstance(value, datetime):
        return instant(value)
    return value if isinstance(value, str | int | float | bool | list | dict | None) else str(value)
