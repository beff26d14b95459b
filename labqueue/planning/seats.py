"""Who does the steps that run: each on one unit of one resource, or in one furnace load with others.

People scan late, or three pieces at once: more may run at a station than can. The engine refuses that, so the earliest
keep their places, and for the others it is as if they still waited there.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from labqueue.planning.calendars import is_open
from labqueue.planning.snapshot import Server, Snapshot

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


@dataclass
class Load:
    """What shares one unit of a resource. `room`: how many pieces it takes; `resource` is None where none was free."""

    resource: str | None
    room: int
    steps: list[Busy]

    def takes(self, step: Busy) -> bool:
        """Whether this step of its station and material went in with the others, and still fitted in."""
        return len(self.steps) < self.room and step.since - self.steps[-1].since <= LOAD_GAP


def seats(snapshot: Snapshot) -> dict[Key, Seat]:
    """The seats of the running steps of all cases; a step without a seat is to be stated as waiting."""
    found: dict[Key, Seat] = {}
    for load in loads(snapshot):
        if load.resource is not None:
            seat = unlike(found.values(), Seat(load.resource, load.steps[-1].since))
            found.update({step.key: seat for step in load.steps})
    return found


def unlike(others: Iterable[Seat], seat: Seat) -> Seat:
    """The seat, a hair earlier where it is already another load's: the engine takes equal seats for one load."""
    taken = set(others)
    while seat in taken:
        seat = replace(seat, since=seat.since - timedelta(microseconds=1))
    return seat


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


def loads(snapshot: Snapshot) -> list[Load]:
    """What shares one unit: alone at a bench; in a furnace what of its material went in soon before, while it fits."""
    servers = sorted(snapshot.servers, key=lambda server: (not is_open(server, snapshot), server.name))
    free = {server.name: server.count for server in servers}
    last: dict[tuple[str, str], Load] = {}
    begun: list[Load] = []
    for step in busy(snapshot):
        load = last.get((step.station, step.material))
        if load and load.takes(step):
            load.steps.append(step)
            continue
        server = next((s for s in servers if step.station in s.stations and free[s.name] > 0), None)
        begun.append(Load(server.name if server else None, room_of(server), [step]))
        last[step.station, step.material] = begun[-1]
        if server:
            free[server.name] -= 1
    return begun


def room_of(server: Server | None) -> int:
    """How many pieces one unit takes at once."""
    return int(server.load["capacity"]) if server and server.load else 1
