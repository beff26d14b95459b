"""The laboratory at one instant, as plain facts: what planning reads from the rooms before it, and nothing else.

Everything that builds the engine's shop works on these, without a database or a clock.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

# A duration in minutes as the engine states it: a number, or {"triangular": [low, mode, high]} and the like.
Minutes = Any


@dataclass(frozen=True)
class Place:
    """A station and its dispatch rule. Pieces are made at all but the last ones, where they are checked or packed."""

    name: str
    rule: str = "edd"
    checks: bool = False
    packs: bool = False

    @property
    def makes(self) -> bool:
        """Whether a piece that has passed all such stations is made."""
        return not (self.checks or self.packs)


@dataclass(frozen=True)
class Hours:
    """Working hours: spans of clock times by weekday (mon…sun), or around the clock."""

    week: Mapping[str, list[list[str]]] = field(default_factory=dict)
    always: bool = False


@dataclass(frozen=True)
class Server:
    """`count` people or machines alike; `load` is set where many pieces are fired at once."""

    name: str
    stations: tuple[str, ...]
    hours: str
    count: int = 1
    pauses: bool = True
    load: Mapping[str, Any] | None = None
    away: tuple[tuple[datetime, datetime], ...] = ()


@dataclass(frozen=True)
class Step:
    """One step of one piece at the station of that code, and how far it is."""

    name: str
    station: str
    minutes: Minutes
    wait: Minutes | None = None
    fail: float = 0.0
    back_to: str | None = None
    joins: bool = False
    started_at: datetime | None = None
    done_at: datetime | None = None

    @property
    def running(self) -> bool:
        """Whether somebody works on it."""
        return self.started_at is not None and self.done_at is None


@dataclass(frozen=True)
class Piece:
    """One piece of a case: a work item on the floor, or (`released_at` None) an item that waits for its release."""

    line: int
    kind: str
    tooth: int
    material: str
    steps: tuple[Step, ...]
    released_at: datetime | None = None

    @property
    def front(self) -> Step | None:
        """Its first step that is not done; None once all are."""
        return next((step for step in self.steps if step.done_at is None), None)


@dataclass(frozen=True)
class OpenCase:
    """One case that is not packed yet. `unstated` says why its pieces cannot be stated, where they cannot."""

    pk: int
    number: str
    due_at: datetime | None
    held_since: datetime | None
    pieces: tuple[Piece, ...]
    unstated: str = ""


@dataclass(frozen=True)
class Ordered:
    """One piece that was ordered lately: what tells how much work is still to come."""

    at: datetime
    make: str
    material: str
    due_at: datetime | None


@dataclass(frozen=True)
class Snapshot:
    """Everything. `version` is the last audit event that was seen before reading; mappings keep the floor's order."""

    now: datetime
    version: int
    zone: str
    stations: Mapping[str, Place]
    hours: Mapping[str, Hours]
    servers: tuple[Server, ...]
    routes: Mapping[str, tuple[Step, ...]]
    cases: tuple[OpenCase, ...] = ()
    ordered: tuple[Ordered, ...] = ()
    closed: frozenset[date] = frozenset()

    @property
    def furnaces(self) -> frozenset[str]:
        """The stations at which pieces are fired in loads."""
        return frozenset(code for server in self.servers if server.load for code in server.stations)
