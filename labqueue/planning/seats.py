"""Who does the steps that run: each on one unit of one resource, or in one furnace load with others.

People scan late, or three pieces at once: more may run at a station than can. The engine refuses that, so the earliest
keep their places, and for the others it is as if they still waited there.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from labqueue.planning.calendars import is_open
from labqueue.planning.snapshot import Snapshot

# Pieces that are scanned into a furnace this soon after each other are in one load.
LOAD_GAP = timedelta(minutes=15)

# The number of a case, the line of a piece and the name of its step.
Key = tuple[str, int, str]


@dataclass(frozen=True)
class Busy:
    """A step that runs, as scanned."""

    key: Key
    station: str
    material: str
    since: datetime


@dataclass(frozen=True)
class Seat:
    """Where and since when it runs, as the engine is told."""

    resource: str
    since: datetime


def seats(snapshot: Snapshot) -> dict[Key, Seat]:
    """The seats of the running steps of all cases; a step without a seat is to be stated as waiting."""
    free = {server.name: server.count for server in snapshot.servers}
    opened = {server.name for server in snapshot.servers if is_open(server, snapshot)}
    serving = {
        code: sorted((s.name for s in snapshot.servers if code in s.stations), key=lambda name: name not in opened)
        for code in snapshot.stations
    }
    found: dict[Key, Seat] = {}
    for load in loads(busy(snapshot), snapshot.furnaces):
        resource = next((name for name in serving[load[0].station] if free[name] > 0), None)
        if resource is not None:
            free[resource] -= 1
            found.update({step.key: Seat(resource, load[-1].since) for step in load})
    return found


def busy(snapshot: Snapshot) -> list[Busy]:
    """All running steps, the earliest first. A device whose clock is fast cannot have started one after now."""
    running = (
        Busy((case.number, piece.line, step.name), step.station, piece.material, min(step.started_at, snapshot.now))
        for case in snapshot.cases
        for piece in case.pieces
        for step in piece.steps
        if step.running and step.started_at
    )
    return sorted(running, key=lambda step: (step.since, step.key))


def loads(steps: Iterable[Busy], furnaces: frozenset[str]) -> Iterator[list[Busy]]:
    """What shares one unit: alone at a bench; at a furnace with what of its material went in soon before."""
    last: dict[tuple[str, str], list[Busy]] = {}
    ordered: list[list[Busy]] = []
    for step in steps:
        load = last.get((step.station, step.material))
        if step.station in furnaces and load and step.since - load[-1].since <= LOAD_GAP:
            load.append(step)
            continue
        ordered.append([step])
        last[step.station, step.material] = ordered[-1]
    return iter(ordered)


def waits_since(snapshot: Snapshot, taken: Mapping[Key, Seat]) -> dict[str, datetime]:
    """For the cases with a running step that found no seat: since when that step is said to wait, by case number."""
    return {step.key[0]: step.since for step in busy(snapshot) if step.key not in taken}
