"""Working hours: as the engine's calendars, and read off for the few questions that planning asks itself."""

from collections.abc import Collection, Iterator, Mapping
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from labqueue.base.workdays import at
from labqueue.planning.snapshot import Hours, Server, Snapshot

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def calendars(snapshot: Snapshot) -> dict[str, dict[str, Any]]:
    """Every shift as a calendar; days on which the laboratory is closed are empty days."""
    shut: Mapping[str, list[Any]] = {day.isoformat(): [] for day in sorted(snapshot.closed)}
    return {
        name: {"always": True, "time_zone": snapshot.zone}
        if hours.always
        else {"time_zone": snapshot.zone, "week": dict(hours.week), "days": dict(shut)}
        for name, hours in snapshot.hours.items()
    }


def resources(snapshot: Snapshot) -> dict[str, dict[str, Any]]:
    """Every server as a resource of the engine."""
    return {server.name: _resource(server) for server in snapshot.servers}


def _resource(server: Server) -> dict[str, Any]:
    stated: dict[str, Any] = {
        "stations": list(server.stations),
        "calendar": server.hours,
        "count": server.count,
        "pauses": server.pauses,
        "away": [[start.isoformat(), end.isoformat()] for start, end in server.away],
    }
    return {**stated, "load": dict(server.load)} if server.load else stated


def is_open(server: Server, snapshot: Snapshot) -> bool:
    """Whether the server works at the instant of the snapshot."""
    now = snapshot.now
    if any(start <= now < end for start, end in server.away):
        return False
    hours = snapshot.hours[server.hours]
    return hours.always or any(start <= now < end for start, end in spans(hours, snapshot, now, now))


def open_minutes(hours: Hours, snapshot: Snapshot, begin: datetime, end: datetime) -> float:
    """How many minutes between two instants lie within working hours."""
    if hours.always:
        return (end - begin) / timedelta(minutes=1)
    parts = (min(last, end) - max(first, begin) for first, last in spans(hours, snapshot, begin, end))
    return sum((part for part in parts if part > timedelta(0)), timedelta(0)) / timedelta(minutes=1)


def spans(hours: Hours, snapshot: Snapshot, begin: datetime, end: datetime) -> Iterator[tuple[datetime, datetime]]:
    """The working spans of every day that `begin` to `end` touches, as instants."""
    zone = ZoneInfo(snapshot.zone)
    for day in days(begin.astimezone(zone).date(), end.astimezone(zone).date(), snapshot.closed):
        for first, last in hours.week.get(DAYS[day.weekday()], []):
            yield instant(day, first, zone), instant(day, last, zone)


def days(first: date, last: date, closed: Collection[date]) -> Iterator[date]:
    """The dates from `first` to `last` that are not closed."""
    for number in range((last - first).days + 1):
        day = first + timedelta(days=number)
        if day not in closed:
            yield day


def instant(day: date, clock: str, zone: ZoneInfo) -> datetime:
    """The instant of a clock time `HH:MM`; `24:00` is the next day's midnight."""
    if clock == "24:00":
        return at(day + timedelta(days=1), time(0), zone)
    return at(day, time.fromisoformat(clock), zone)
