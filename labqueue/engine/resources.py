"""Resources: the people and machines that do the work, and the loads of those that take several jobs at once."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from labqueue.engine.calendars import Calendar, read_clock
from labqueue.engine.reading import instant, known_name, listing, mapping, minutes, names, refuse, truth, whole

RULES = ("fifo", "edd", "slack", "cr", "atc", "weight", "rank")
CLOCK_RULES = ("slack", "cr", "atc")
"""Rules by which two waiting jobs can change places."""
MOST_UNITS = 10**6


@dataclass(frozen=True)
class Load:
    """How a batch resource fills: `capacity` units; `wait_minutes` None where only the clock or fullness starts it."""

    capacity: int
    wait_minutes: float | None
    start_at: tuple[int, ...] = ()
    """Clock times in minutes after midnight."""


@dataclass(frozen=True)
class Resource:
    """`count` identical people or machines; `away` closes all of them for a while."""

    name: str
    stations: tuple[str, ...]
    calendar: str
    count: int = 1
    pauses: bool = True
    away: tuple[tuple[datetime, datetime], ...] = ()
    load: Load | None = None


def read_resource(
    name: str, value: object, place: str, calendars: Mapping[str, Calendar], stations: Collection[str]
) -> Resource:
    """Read one resource of the shop file."""
    known = ["stations", "calendar", "count", "pauses", "away", "load"]
    given = mapping(value, place, known=known, needs=["stations", "calendar"])
    calendar = known_name(given["calendar"], f"{place}.calendar", calendars, "calendar")
    load = _load(given["load"], f"{place}.load", calendars[calendar]) if given.get("load") is not None else None
    return Resource(
        name=name,
        stations=names(given["stations"], f"{place}.stations", stations, "station"),
        calendar=calendar,
        count=whole(given.get("count", 1), f"{place}.count", least=0, most=100_000),
        pauses=truth(given.get("pauses", load is None), f"{place}.pauses"),
        away=_away(given.get("away", []), f"{place}.away"),
        load=load,
    )


def too_large(units: int, station: str, resources: Collection[Resource]) -> bool:
    """Whether a job of `units` fits no load of `station`; where some resource takes single jobs, any job fits."""
    serving = [resource for resource in resources if resource.count and station in resource.stations]
    return all(resource.load is not None and resource.load.capacity < units for resource in serving)


def _away(value: object, place: str) -> tuple[tuple[datetime, datetime], ...]:
    found: list[tuple[datetime, datetime]] = []
    for i, item in enumerate(listing(value, place)):
        pair = listing(item, f"{place}[{i}]")
        if len(pair) != 2:
            refuse(f"{place}[{i}]", "must be two instants, the first and the end of the absence")
        begin, end = (instant(moment, f"{place}[{i}][{k}]") for k, moment in enumerate(pair))
        if end < begin:
            refuse(f"{place}[{i}]", "ends before it begins")
        found.append((begin, end))
    return tuple(found)


def _load(value: object, place: str, calendar: Calendar) -> Load:
    given: dict[str, Any] = mapping(value, place, known=["capacity", "wait_minutes", "start_at"], needs=["capacity"])
    clocks: list[int] = []
    for i, item in enumerate(listing(given.get("start_at", []), f"{place}.start_at")):
        clock = read_clock(item, f"{place}.start_at[{i}]") % 1440
        if not calendar.holds(clock):
            refuse(f"{place}.start_at[{i}]", f"the resource's calendar is never open at {item}")
        clocks.append(clock)
    wait = given.get("wait_minutes", None if clocks else 0)
    return Load(
        capacity=whole(given["capacity"], f"{place}.capacity", least=1, most=MOST_UNITS),
        wait_minutes=None if wait is None else minutes(wait, f"{place}.wait_minutes"),
        start_at=tuple(sorted(set(clocks))),
    )
