"""Where the work under way at `now` sits: each running step on one unit of one resource, or in one load with others."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from labqueue.engine.calendars import MINUTE, Calendar, Span, since, without
from labqueue.engine.jobs import Job, Running
from labqueue.engine.reading import refuse
from labqueue.engine.resources import Resource
from labqueue.engine.routes import Route, Step


@dataclass(frozen=True)
class Seat:
    """A running step: indexes of its job and step, and the resource that does it (-1: pure waiting).

    Steps of one `load` (a number, -1 outside loads) sit in the same unit; the first of them draws for all.
    """

    job: int
    step: int
    since: datetime
    resource: int
    load: int


def open_spans(resource: Resource, calendar: Calendar, now: datetime, begin: int, end: int) -> list[Span]:
    """The spans in which `resource` is open: its calendar without its absences, in microseconds from `now`."""
    away = [(since(now, first), since(now, last)) for first, last in resource.away]
    return without(calendar.spans(now, begin, end), away)


def is_open(resource: Resource, calendar: Calendar, now: datetime) -> bool:
    """Whether `resource` is open at `now`."""
    spans = open_spans(resource, calendar, now, -1440 * MINUTE, 1440 * MINUTE)
    return any(begin <= 0 < end for begin, end in spans)


def find_seats(
    jobs: Sequence[Job],
    routes: Mapping[str, Route],
    resources: Sequence[Resource],
    calendars: Mapping[str, Calendar],
    now: datetime,
) -> list[Seat]:
    """Seat all running steps: first those that name their resource, then the others, each in file order.

    A step that names none takes the first free open resource of its station, else the first free one.

    Raises:
        ShopError: more steps run at a station than it has free resources; names the job.
    """
    hall = _Hall(resources, [is_open(resource, calendars[resource.calendar], now) for resource in resources])
    waiting = [(j, job, k, running) for j, job in enumerate(jobs) for k, running in enumerate(job.running)]
    found: list[Seat] = []
    for named in (True, False):
        for j, job, k, running in waiting:
            if (running.resource is not None) == named:
                step = routes[job.route].steps[running.step]
                resource, load = hall.seat(running, step, f"jobs[{j}].running[{k}]", job.id)
                found.append(Seat(j, running.step, running.since, resource, load))
    return sorted(found, key=lambda seat: (seat.since, seat.job, seat.step))


class _Hall:
    """Free units while the running steps are seated one after the other."""

    def __init__(self, resources: Sequence[Resource], opened: Sequence[bool]) -> None:
        self.resources = resources
        self.opened = opened
        self.free = [resource.count for resource in resources]
        self.loads: dict[tuple[str, str, datetime, str | None], tuple[int, int]] = {}

    def seat(self, running: Running, step: Step, place: str, job: str) -> tuple[int, int]:
        """The resource and the load for one running step."""
        if step.station is None:
            return -1, -1
        key = (step.station, step.family, running.since, running.resource)
        if key in self.loads:
            return self.loads[key]
        chosen = self._choose(step.station, running.resource)
        if chosen < 0:
            what = f'"{running.resource}" has' if running.resource else f'the station "{step.station}" has'
            refuse(place, f'job "{job}": {what} no free resource left for the step "{step.name}"')
        self.free[chosen] -= 1
        if self.resources[chosen].load is None:
            return chosen, -1
        self.loads[key] = (chosen, len(self.loads))
        return self.loads[key]

    def _choose(self, station: str, named: str | None) -> int:
        fitting = [
            i
            for i, resource in enumerate(self.resources)
            if self.free[i] and station in resource.stations and named in (None, resource.name)
        ]
        return next((i for i in fitting if self.opened[i]), fitting[0] if fitting else -1)
