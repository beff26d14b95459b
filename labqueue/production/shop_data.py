"""Reads the laboratory's own data: stations, shifts, resources, routes and lots. Every refusal names the place."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.conf import settings

from labqueue.engine.calendars import Calendar, read_calendar
from labqueue.engine.distributions import read_distribution
from labqueue.engine.reading import join, known_name, listing, mapping, number, refuse, text, truth, whole
from labqueue.engine.resources import RULES, Resource, read_resource
from labqueue.production.models import Part, Station
from orders.makes import Make
from orders.materials import Material

TAKES = ("material", *Part.values)
WHAT = (*Material.values, *Part.values)


@dataclass(frozen=True)
class StationFacts:
    """One station as the data states it."""

    code: str
    name: str
    kind: str
    rule: str


@dataclass(frozen=True)
class StepFacts:
    """One step of a route; `back_to` is the place of a step in its route, from 1."""

    name: str
    station: str
    minutes: Any
    wait: Any
    fail_probability: float
    back_to: int | None
    joins: bool
    takes: str


@dataclass(frozen=True)
class LotFacts:
    """A lot in stock."""

    what: str
    number: str
    product: str
    expires: date | None


@dataclass(frozen=True)
class ShopData:
    """Everything the floor stands on. Shifts are kept as they were written."""

    stations: list[StationFacts]
    shifts: dict[str, dict[str, Any]]
    resources: list[Resource]
    routes: dict[str, list[StepFacts]]
    lots: list[LotFacts]


def read_shop(data: Mapping[str, Any], today: date) -> ShopData:
    """The shop in `data`; days of expiry are counted from `today`. Other keys of `data` belong to other rooms.

    Raises:
        ShopError: with the place, such as `routes.zirconia_crown[2].station: no station "miling"`.
    """
    stations = [_station(item, f"stations[{i}]") for i, item in enumerate(listing(data.get("stations"), "stations"))]
    kinds = {station.code: station.kind for station in stations}
    if len(kinds) < len(stations):
        refuse("stations", "a code is used twice")
    shifts = mapping(data.get("shifts"), "shifts")
    calendars = {name: _calendar(shift, f"shifts.{name}") for name, shift in shifts.items()}
    resources = [
        _resource(item, f"resources[{i}]", calendars, kinds)
        for i, item in enumerate(listing(data.get("resources"), "resources"))
    ]
    served = {code for resource in resources if resource.count for code in resource.stations}
    routes = mapping(data.get("routes"), "routes", known=Make.values)
    return ShopData(
        stations=stations,
        shifts=shifts,
        resources=resources,
        routes={make: _route(steps, f"routes.{make}", kinds, served) for make, steps in routes.items()},
        lots=[_lot(item, f"lots[{i}]", today) for i, item in enumerate(listing(data.get("lots", []), "lots"))],
    )


def _station(value: object, place: str) -> StationFacts:
    given = mapping(value, place, known=["code", "name", "kind", "rule"], needs=["code", "name"])
    return StationFacts(
        code=text(given["code"], f"{place}.code"),
        name=text(given["name"], f"{place}.name"),
        kind=known_name(given.get("kind", Station.Kind.BENCH), f"{place}.kind", Station.Kind.values, "kind of station"),
        rule=known_name(given.get("rule", "edd"), f"{place}.rule", RULES, "rule"),
    )


def _calendar(shift: object, place: str) -> Calendar:
    return read_calendar({"time_zone": settings.TIME_ZONE, **mapping(shift, place, known=["week", "always"])}, place)


def _resource(value: object, place: str, calendars: Mapping[str, Calendar], stations: Collection[str]) -> Resource:
    known = ["name", "stations", "shift", "count", "pauses", "load"]
    given = mapping(value, place, known=known, needs=["name", "stations", "shift"])
    name = text(given.pop("name"), f"{place}.name")
    shift = known_name(given.pop("shift"), f"{place}.shift", calendars, "shift")
    return read_resource(name, {**given, "calendar": shift}, place, calendars, stations)


def _route(value: object, place: str, kinds: Mapping[str, str], served: Collection[str]) -> list[StepFacts]:
    items = [mapping(item, f"{place}[{i}]", needs=["name"]) for i, item in enumerate(listing(value, place))]
    names = [text(item["name"], f"{place}[{i}].name") for i, item in enumerate(items)]
    if len(set(names)) < len(names):
        refuse(place, "a step's name is used twice")
    steps = [_step(item, f"{place}[{i}]", names[: i + 1], kinds) for i, item in enumerate(items)]
    for i, step in enumerate(steps):
        if step.station not in served:
            refuse(f"{place}[{i}].station", f'no resource works at "{step.station}"')
    _check_end(place, [kinds[step.station] for step in steps])
    return steps


def _check_end(place: str, kinds: list[str]) -> None:
    """A piece leaves by the quality check and then the packing, and by nothing else."""
    if kinds[-2:] != [Station.Kind.QUALITY, Station.Kind.PACKING]:
        refuse(place, "must end with a step at a quality station and then one at a packing station")
    if Station.Kind.PACKING in kinds[:-1]:
        refuse(place, "only its last step may be at a packing station")


def _step(item: dict[str, Any], place: str, so_far: list[str], kinds: Mapping[str, str]) -> StepFacts:
    known = ["name", "station", "minutes", "wait", "fail", "back_to", "joins", "takes"]
    given = mapping(item, place, known=known, needs=["station", "minutes"])
    fail = number(given.get("fail", 0), join(place, "fail"), least=0)
    if fail >= 1:
        refuse(join(place, "fail"), "must be a probability below 1")
    if fail and "back_to" not in given:
        refuse(join(place, "back_to"), "is missing: say to which step a piece goes back that fails")
    for key in ("minutes", "wait"):
        if key in given:
            read_distribution(given[key], join(place, key))
    back = "back_to" in given and known_name(given["back_to"], join(place, "back_to"), so_far, "step up to here called")
    return StepFacts(
        name=so_far[-1],
        station=known_name(given["station"], join(place, "station"), kinds, "station"),
        minutes=given["minutes"],
        wait=given.get("wait"),
        fail_probability=fail,
        back_to=so_far.index(back) + 1 if back else None,
        joins=truth(given.get("joins", False), join(place, "joins")),
        takes=known_name(given["takes"], join(place, "takes"), TAKES, "material or part") if "takes" in given else "",
    )


def _lot(value: object, place: str, today: date) -> LotFacts:
    known = ["what", "number", "product", "expires_days"]
    given = mapping(value, place, known=known, needs=["what", "number", "product"])
    days = given.get("expires_days")
    return LotFacts(
        what=known_name(given["what"], f"{place}.what", WHAT, "material or part"),
        number=text(given["number"], f"{place}.number"),
        product=text(given["product"], f"{place}.product"),
        expires=None if days is None else today + timedelta(whole(days, f"{place}.expires_days", least=1)),
    )
