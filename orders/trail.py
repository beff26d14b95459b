"""The audit trail of a case as people read it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import groupby
from typing import Any

from labqueue.base import audit
from labqueue.base.models import Event, User
from orders.models import Case

SCANNED = "scanned"
# More scans than these in a row are folded under the latest of them.
SCANS_IN_A_ROW = 3


@dataclass(frozen=True)
class Line:
    """One thing that happened, with the scans `before` it where many came in a row."""

    at: datetime
    what: str
    by: str
    before: tuple["Line", ...] = ()


def trail_of(case: Case, reader: User) -> list[Line]:
    """Everything that happened to the case, the latest first, as `reader` may read it. One query."""
    latest_first = reversed(audit.trail(case))
    runs = groupby(latest_first, key=lambda event: event.verb == SCANNED)
    return [line for scans, events in runs for line in folded(scans, [line_for(reader, event) for event in events])]


def folded(scans: bool, lines: Sequence[Line]) -> Sequence[Line]:
    """Many scans in a row as one line that holds the rest; everything else as it is."""
    latest, *before = lines
    return [replace(latest, before=tuple(before))] if scans and len(lines) > SCANS_IN_A_ROW else lines


def line_for(reader: User, event: Event) -> Line:
    """An event for who reads it: a practice does not see the names of people of the laboratory."""
    hidden = not reader.works_here and event.actor is not None and event.actor.works_here
    return Line(event.at, what(event), "the laboratory" if hidden else by(event))


def what(event: Event) -> str:
    """The verb, with the reason, the version, the scan or the pieces where it has them."""
    verb, facts = event.verb[:1].upper() + event.verb[1:], event.after
    version = facts.get("version") or facts.get("prescription")
    text = f"{verb} (version {version})" if version else verb
    more = scan(facts) if event.verb == SCANNED else facts.get("hold_reason") or pieces(facts)
    return f"{text}: {more}" if more else text


def scan(facts: dict[str, Any]) -> str:
    """What was scanned: `mill, start, piece 2600001014, lot CT-55210`."""
    again = f"attempt {facts['attempt']}" if facts.get("attempt", 1) > 1 else ""
    lot = f"lot {facts['lot']}" if facts.get("lot") else ""
    parts = (facts.get("step"), facts.get("action"), f"piece {facts.get('piece')}", again, lot)
    return ", ".join(part for part in parts if part)


def pieces(facts: dict[str, Any]) -> str:
    """Which pieces were made, kept or withdrawn when the prescription was laid out for the floor."""
    named = [(word, facts.get(word)) for word in ("made", "kept", "withdrawn")]
    return "; ".join(f"{word} {', '.join(codes)}" for word, codes in named if isinstance(codes, list) and codes)


def by(event: Event) -> str:
    """Who did it; the service where nobody is named."""
    return event.actor.shown_name if event.actor else "the service"
