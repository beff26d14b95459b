"""The work still to come: as much, and of the same kinds, as was ordered in the last four weeks."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime, timedelta
from statistics import fmean
from typing import Any

from labqueue.planning.calendars import open_minutes
from labqueue.planning.jobs import CaseJob
from labqueue.planning.snapshot import OpenCase, Ordered, Piece, Snapshot

WINDOW = timedelta(weeks=4)
# A laboratory that has just begun: its few first orders are not taken for the flow of every hour.
SHORTEST = timedelta(weeks=1)
# Without a promised date to learn from: a usual one.
USUAL_LEAD = 7 * 24 * 60.0

Kinds = dict[tuple[str, str], list[Ordered]]


def arrivals(snapshot: Snapshot) -> list[dict[str, Any]]:
    """One stream of single pieces per make and material that has a route, over the hours in which work is taken in."""
    hours = intake_hours(snapshot)
    if hours is None or not snapshot.ordered:
        return []
    begin = max(snapshot.now - WINDOW, min(snapshot.now - SHORTEST, min(piece.at for piece in snapshot.ordered)))
    minutes = open_minutes(snapshot.hours[hours], snapshot, begin, snapshot.now)
    return [
        {
            "route": route_name(make, material),
            "calendar": hours,
            "between_minutes": {"exponential": {"mean": minutes / len(pieces)}},
            "due_minutes": lead_minutes(pieces),
        }
        for (make, material), pieces in kinds(snapshot, begin).items()
        if make in snapshot.routes and minutes > 0
    ]


def arrival_routes(snapshot: Snapshot) -> dict[str, list[dict[str, Any]]]:
    """The routes of the pieces still to come, by name."""
    found = {}
    for make, material in kinds(snapshot, snapshot.now - WINDOW):
        name, steps = route_name(make, material), snapshot.routes.get(make)
        if steps:
            piece = Piece(line=1, kind="", tooth=0, material=material, steps=steps)
            found[name] = CaseJob(OpenCase(0, name, None, None, (piece,)), snapshot, {}).route
    return found


def kinds(snapshot: Snapshot, begin: datetime) -> Kinds:
    """What was ordered from `begin` on, by make and material."""
    found: Kinds = defaultdict(list)
    for piece in snapshot.ordered:
        if begin <= piece.at <= snapshot.now:
            found[piece.make, piece.material].append(piece)
    return found


def lead_minutes(pieces: Sequence[Ordered]) -> float:
    """The mean time from order to due date, in minutes by the clock."""
    leads = [(piece.due_at - piece.at) / timedelta(minutes=1) for piece in pieces if piece.due_at]
    return max(fmean(leads), 0.0) if leads else USUAL_LEAD


def intake_hours(snapshot: Snapshot) -> str | None:
    """The hours of the first station, where work comes in; None where nobody serves it."""
    first = next(iter(snapshot.stations), None)
    return next((server.hours for server in snapshot.servers if first in server.stations), None)


def route_name(make: str, material: str) -> str:
    """The name of the route of pieces still to come; no case is numbered like that."""
    return f"{make} of {material}"
