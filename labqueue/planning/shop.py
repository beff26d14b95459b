"""The shop as the engine reads it, from a snapshot of the floor: one job per open case, and the work still to come."""

import logging
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from labqueue.engine import Shop, ShopError
from labqueue.planning.arrivals import arrival_routes, arrivals
from labqueue.planning.calendars import calendars, resources
from labqueue.planning.jobs import CaseJob
from labqueue.planning.seats import seats
from labqueue.planning.snapshot import Snapshot

log = logging.getLogger(__name__)

HORIZON_MINUTES = 6 * 7 * 24 * 60


@dataclass(frozen=True)
class Part:
    """Something that can be left out of a shop: a case (its job) or a stream of work still to come, with its route."""

    name: str
    route: list[dict[str, Any]]
    job: dict[str, Any] | None = None
    stream: dict[str, Any] | None = None


@dataclass(frozen=True)
class Stated:
    """A shop that the engine takes, and why which case (by number) is not in it."""

    shop: Shop
    left_out: Mapping[str, str]


def state(snapshot: Snapshot) -> Stated:
    """The whole shop. A case or stream that cannot be stated is left out, logged, and does not stop the others.

    Raises ShopError where the laboratory itself cannot be stated: its hours, stations or resources.
    """
    base, cases, streams = laboratory(snapshot), case_parts(snapshot), stream_parts(snapshot)
    faults = {case.number: case.unstated for case in snapshot.cases if case.unstated}
    try:
        shop = Shop.from_dict(assembled(base, [*cases, *streams]))
    except ShopError:
        faults |= {part.name: fault for part in [*cases, *streams] if (fault := fault_of(base, part))}
        shop = Shop.from_dict(assembled(base, [part for part in [*cases, *streams] if part.name not in faults]))
    for name, fault in faults.items():
        log.warning("left out of the forecast: %s: %s", name, fault)
    left_out = [case.number for case in snapshot.cases if case.number in faults]
    return Stated(shop, {number: for_people(faults[number]) for number in left_out})


def laboratory(snapshot: Snapshot) -> dict[str, Any]:
    """The shop without any work."""
    return {
        "now": snapshot.now.astimezone(ZoneInfo(snapshot.zone)).isoformat(),
        "horizon_minutes": HORIZON_MINUTES,
        "calendars": calendars(snapshot),
        "stations": {code: {"rule": station.rule} for code, station in snapshot.stations.items()},
        "resources": resources(snapshot),
    }


def case_parts(snapshot: Snapshot) -> list[Part]:
    """The open cases that can be stated, in the snapshot's order."""
    taken = seats(snapshot)
    jobs = [CaseJob(case, snapshot, taken) for case in snapshot.cases if not case.unstated]
    return [Part(job.case.number, job.route, job=job.job()) for job in jobs]


def stream_parts(snapshot: Snapshot) -> list[Part]:
    """The work still to come."""
    routes = arrival_routes(snapshot)
    return [Part(stream["route"], routes[stream["route"]], stream=stream) for stream in arrivals(snapshot)]


def assembled(base: Mapping[str, Any], parts: Iterable[Part]) -> dict[str, Any]:
    """The shop file's plain form."""
    parts = list(parts)
    return {
        **base,
        "routes": {part.name: part.route for part in parts},
        "jobs": [part.job for part in parts if part.job],
        "arrivals": [part.stream for part in parts if part.stream],
    }


def fault_of(base: Mapping[str, Any], part: Part) -> str:
    """Why the engine does not take this part, alone in the laboratory; empty where it does."""
    try:
        Shop.from_dict(assembled(base, [part]))
    except ShopError as error:
        return str(error)
    return ""


def for_people(fault: str) -> str:
    """The sentence of a fault without the place in the shop file before it, which is logged."""
    place, colon, sentence = fault.partition(": ")
    return sentence if colon and " " not in place else fault
