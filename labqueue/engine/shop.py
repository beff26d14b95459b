"""The shop: one frozen, checked picture of the work, the people and machines, and the work still to come."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from labqueue.engine import resources as _resources
from labqueue.engine.calendars import MINUTE, Calendar, read_calendar
from labqueue.engine.jobs import Arrival, Job, read_arrivals, read_jobs
from labqueue.engine.reading import instant, join, known_name, mapping, minutes, refuse, text
from labqueue.engine.resources import RULES, Resource
from labqueue.engine.routes import Route, read_route
from labqueue.engine.seats import find_seats


@dataclass(frozen=True)
class Shop:
    """A shop as it stands at `now`. Build it with `Shop.from_dict`; the order of all mappings is the file's."""

    now: datetime
    horizon_minutes: float
    warm_up_minutes: float = 0.0
    calendars: Mapping[str, Calendar] = field(default_factory=dict)
    stations: Mapping[str, str] = field(default_factory=dict)
    """Station name to dispatch rule."""
    resources: tuple[Resource, ...] = ()
    routes: Mapping[str, Route] = field(default_factory=dict)
    jobs: tuple[Job, ...] = ()
    arrivals: tuple[Arrival, ...] = ()

    @property
    def horizon(self) -> int:
        """The horizon in microseconds from now."""
        return round(self.horizon_minutes * MINUTE)

    @property
    def warm_up(self) -> int:
        """The end of the warm-up in microseconds from now."""
        return round(self.warm_up_minutes * MINUTE)

    def serving(self, station: str) -> list[Resource]:
        """The resources that can work at `station`, in file order; a count of 0 serves nothing."""
        return [resource for resource in self.resources if resource.count and station in resource.stations]

    @classmethod
    def from_dict(cls, value: object) -> "Shop":
        """Read a shop from the plain form of its JSON file.

        Raises:
            ShopError: one line that names the place and what is wrong there.
        """
        known = ["now", "horizon_minutes", "warm_up_minutes", *_SECTIONS]
        given = mapping(value, "", known=known, needs=["now", "horizon_minutes"])
        now = instant(given["now"], "now")
        horizon = minutes(given["horizon_minutes"], "horizon_minutes", above=0)
        warm_up = minutes(given.get("warm_up_minutes", 0), "warm_up_minutes")
        if warm_up >= horizon:
            refuse("warm_up_minutes", f"must be below horizon_minutes ({horizon:g}), not {warm_up:g}")
        section = {key: given.get(key, default()) for key, default in _SECTIONS.items()}
        calendars = {n: read_calendar(v, p) for n, v, p in _named(section["calendars"], "calendars")}
        stations = {n: _rule(v, p) for n, v, p in _named(section["stations"], "stations")}
        resources = tuple(
            _resources.read_resource(n, v, p, calendars, stations)
            for n, v, p in _named(section["resources"], "resources")
        )
        routes = {n: read_route(n, v, p, stations) for n, v, p in _named(section["routes"], "routes")}
        _check_served(routes, resources)
        jobs = read_jobs(section["jobs"], "jobs", now, routes, resources)
        find_seats(jobs, routes, resources, calendars, now)
        return cls(
            now=now,
            horizon_minutes=horizon,
            warm_up_minutes=warm_up,
            calendars=calendars,
            stations=stations,
            resources=resources,
            routes=routes,
            jobs=jobs,
            arrivals=read_arrivals(section["arrivals"], "arrivals", routes, calendars, resources),
        )


_SECTIONS: dict[str, type[dict[str, object]] | type[list[object]]] = {
    "calendars": dict,
    "stations": dict,
    "resources": dict,
    "routes": dict,
    "jobs": list,
    "arrivals": list,
}


def _named(value: object, place: str) -> list[tuple[str, object, str]]:
    """The entries of a section as (name, value, place)."""
    return [(text(name, place), entry, join(place, name)) for name, entry in mapping(value, place).items()]


def _rule(value: object, place: str) -> str:
    given = mapping(value, place, known=["rule"])
    return known_name(given.get("rule", "fifo"), join(place, "rule"), RULES, "rule")


def _check_served(routes: Mapping[str, Route], resources: tuple[Resource, ...]) -> None:
    """Every station that a step needs has a resource that serves it."""
    served = {station for resource in resources if resource.count for station in resource.stations}
    for route in routes.values():
        for i, step in enumerate(route.steps):
            if step.station is not None and step.station not in served:
                refuse(f"routes.{route.name}[{i}].station", f'no resource serves the station "{step.station}"')
