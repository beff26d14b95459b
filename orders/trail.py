"""The audit trail of a case as people read it."""

from dataclasses import dataclass
from datetime import datetime

from labqueue.base import audit
from labqueue.base.models import Event
from orders.models import Case


@dataclass(frozen=True)
class Line:
    """One thing that happened."""

    at: datetime
    what: str
    by: str


def trail_of(case: Case) -> list[Line]:
    """Everything that happened to the case, the latest first."""
    return [Line(event.at, what(event), by(event)) for event in reversed(audit.trail(case))]


def what(event: Event) -> str:
    """The verb, with the reason or the version where it has one."""
    verb = event.verb[:1].upper() + event.verb[1:]
    reason = event.after.get("hold_reason")
    version = event.after.get("version")
    if reason:
        return f"{verb}: {reason}"
    return f"{verb} (version {version})" if version else verb


def by(event: Event) -> str:
    """Who did it; the service where nobody is named."""
    return event.actor.shown_name if event.actor else "the service"
