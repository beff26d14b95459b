"""Jobs: the open work with what is done and running, and the arrivals still to come."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from labqueue.engine.calendars import Calendar
from labqueue.engine.distributions import Distribution, read_distribution
from labqueue.engine.reading import instant, known_name, listing, mapping, names, number, refuse, text, whole
from labqueue.engine.resources import MOST_UNITS, Resource, too_large
from labqueue.engine.routes import Route


@dataclass(frozen=True)
class Running:
    """A step under way at `now`: its index in the route, since when, and where (None: not said)."""

    step: int
    since: datetime
    resource: str | None = None


@dataclass(frozen=True)
class Job:
    """One open job; `done` holds indexes of steps in its route."""

    id: str
    route: str
    released: datetime
    due: datetime | None = None
    weight: float = 1.0
    units: int = 1
    rank: float | None = None
    done: frozenset[int] = frozenset()
    running: tuple[Running, ...] = ()
    hold: Distribution | None = None
    hold_since: datetime | None = None
    ready: datetime | None = None


@dataclass(frozen=True)
class Arrival:
    """Work not yet ordered: jobs of one route, `between` open minutes of a calendar apart."""

    route: str
    calendar: str
    between: Distribution
    due: Distribution | None = None
    weight: float = 1.0
    units: int = 1


SHORTEST_BETWEEN = 1e-6
"""Minutes: time is counted in whole microseconds, 60 of these."""

_JOB_KEYS = ("id", "route", "released", "due", "weight", "units", "rank", "done", "running")
_MORE_JOB_KEYS = ("hold_minutes", "hold_since", "ready")


def read_jobs(
    value: object, place: str, now: datetime, routes: Mapping[str, Route], resources: Sequence[Resource]
) -> tuple[Job, ...]:
    """Read the open jobs; where they sit is checked in `seats`."""
    found: list[Job] = []
    seen: set[str] = set()
    for i, item in enumerate(listing(value, place)):
        job = _job(item, f"{place}[{i}]", now, routes, resources)
        if job.id in seen:
            refuse(f"{place}[{i}].id", f'the job "{job.id}" is named twice')
        seen.add(job.id)
        found.append(job)
    return tuple(found)


def _job(item: object, place: str, now: datetime, routes: Mapping[str, Route], resources: Sequence[Resource]) -> Job:
    given = mapping(item, place, known=_JOB_KEYS + _MORE_JOB_KEYS, needs=["id", "route"])
    route = routes[known_name(given["route"], f"{place}.route", routes, "route")]
    steps = [step.name for step in route.steps]
    job = Job(
        id=text(given["id"], f"{place}.id"),
        route=route.name,
        released=instant(given["released"], f"{place}.released") if "released" in given else now,
        due=instant(given["due"], f"{place}.due") if given.get("due") is not None else None,
        weight=number(given.get("weight", 1), f"{place}.weight", least=0),
        units=whole(given.get("units", 1), f"{place}.units", least=1, most=MOST_UNITS),
        rank=number(given["rank"], f"{place}.rank") if given.get("rank") is not None else None,
        done=frozenset(steps.index(name) for name in names(given.get("done", []), f"{place}.done", steps, "step")),
        running=_running(given.get("running", []), f"{place}.running", now, route, resources),
        hold=read_distribution(given["hold_minutes"], f"{place}.hold_minutes") if _has(given, "hold_minutes") else None,
        hold_since=_past(given["hold_since"], f"{place}.hold_since", now) if _has(given, "hold_since") else None,
        ready=_past(given["ready"], f"{place}.ready", now) if _has(given, "ready") else None,
    )
    _check_job(job, route, place, now)
    _check_units(job.units, [s for i, s in enumerate(route.steps) if i not in _begun(job)], f"{place}.units", resources)
    return job


def _has(given: dict[str, Any], key: str) -> bool:
    return given.get(key) is not None


def _begun(job: Job) -> frozenset[int]:
    return job.done | {running.step for running in job.running}


def _past(value: object, place: str, now: datetime) -> datetime:
    moment = instant(value, place)
    if moment > now:
        refuse(place, "must not lie after now")
    return moment


def _running(
    value: object, place: str, now: datetime, route: Route, resources: Sequence[Resource]
) -> tuple[Running, ...]:
    items = (
        [(value, place)]
        if isinstance(value, Mapping)
        else [(item, f"{place}[{i}]") for i, item in enumerate(listing([] if value is None else value, place))]
    )
    return tuple(_running_step(item, where, now, route, resources) for item, where in items)


def _running_step(item: object, place: str, now: datetime, route: Route, resources: Sequence[Resource]) -> Running:
    given = mapping(item, place, known=["step", "since", "resource"], needs=["step", "since"])
    index = route.index(known_name(given["step"], f"{place}.step", [step.name for step in route.steps], "step"))
    resource = given.get("resource")
    if resource is not None:
        by_name = {known.name: known for known in resources}
        station = route.steps[index].station
        known_name(resource, f"{place}.resource", by_name, "resource")
        if station is None or station not in by_name[resource].stations:
            refuse(f"{place}.resource", f'"{resource}" does not serve the step "{route.steps[index].name}"')
    return Running(index, _past(given["since"], f"{place}.since", now), resource)


def _check_job(job: Job, route: Route, place: str, now: datetime) -> None:
    """What is done and running must fit together, by `after` and in time."""
    for index in sorted(job.done):
        if missing := [route.steps[i].name for i in route.steps[index].after if i not in job.done]:
            refuse(f"{place}.done", f'"{route.steps[index].name}" is done, but "{missing[0]}" before it is not')
    seen: set[int] = set()
    for running in job.running:
        step = route.steps[running.step]
        if running.step in job.done or running.step in seen:
            refuse(f"{place}.running", f'"{step.name}" is already done or running')
        seen.add(running.step)
        if missing := [route.steps[i].name for i in step.after if i not in job.done]:
            refuse(f"{place}.running", f'"{step.name}" is running, but "{missing[0]}" before it is not done')
    if job.running and job.released > now:
        refuse(f"{place}.released", "must not lie after now where a step is running")
    if job.hold_since is not None and job.hold is None:
        refuse(f"{place}.hold_since", "needs hold_minutes")


def _check_units(units: int, steps: Sequence[Any], place: str, resources: Sequence[Resource]) -> None:
    for step in steps:
        if step.station is not None and too_large(units, step.station, resources):
            refuse(place, f'{units} units fit no load of the station "{step.station}"')


def read_arrivals(
    value: object,
    place: str,
    routes: Mapping[str, Route],
    calendars: Mapping[str, Calendar],
    resources: Sequence[Resource],
) -> tuple[Arrival, ...]:
    """Read the work still to come."""
    return tuple(
        _arrival(item, f"{place}[{i}]", routes, calendars, resources) for i, item in enumerate(listing(value, place))
    )


def _arrival(
    item: object,
    place: str,
    routes: Mapping[str, Route],
    calendars: Mapping[str, Calendar],
    resources: Sequence[Resource],
) -> Arrival:
    known = ["route", "calendar", "between_minutes", "due_minutes", "weight", "units"]
    given = mapping(item, place, known=known, needs=["route", "calendar", "between_minutes"])
    arrival = Arrival(
        route=known_name(given["route"], f"{place}.route", routes, "route"),
        calendar=known_name(given["calendar"], f"{place}.calendar", calendars, "calendar"),
        between=read_distribution(given["between_minutes"], f"{place}.between_minutes"),
        due=read_distribution(given["due_minutes"], f"{place}.due_minutes") if _has(given, "due_minutes") else None,
        weight=number(given.get("weight", 1), f"{place}.weight", least=0),
        units=whole(given.get("units", 1), f"{place}.units", least=1, most=MOST_UNITS),
    )
    if arrival.between.mean < SHORTEST_BETWEEN:
        least = f"must be at least {SHORTEST_BETWEEN:g} on average, or work never stops coming"
        refuse(f"{place}.between_minutes", least)
    _check_units(arrival.units, routes[arrival.route].steps, f"{place}.units", resources)
    return arrival
