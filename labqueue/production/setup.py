"""Set the laboratory up from its own data, and bring it up to date when the data changes."""

import re
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from django.db import transaction
from django.utils import timezone

from labqueue.base.errors import refuse
from labqueue.engine.reading import ShopError
from labqueue.engine.resources import Resource as ResourceFacts
from labqueue.production.models import Lot, Resource, Route, RouteStep, Shift, Station
from labqueue.production.shop_data import LotFacts, StationFacts, StepFacts, read_shop


@transaction.atomic
def load(data: Mapping[str, Any]) -> None:
    """Make or update stations, shifts, resources, routes and lots as `data` states them (see fixtures/laboratory.toml).

    What `data` does not name stays as it is. A route that differs becomes a new version; cases keep the one under
    which they were released. Raises Refusal with the place where the data cannot be used; then nothing is written.
    """
    try:
        shop = read_shop(data, timezone.localdate())
    except ShopError as error:
        place = str(error).partition(":")[0]
        raise refuse("shop", str(error), field=re.sub(r"\[(\d+)\]", r".\1", place)) from error
    stations = {facts.code: _station(facts, i) for i, facts in enumerate(shop.stations, start=1)}
    shifts = {name: _shift(name, facts) for name, facts in shop.shifts.items()}
    for resource in shop.resources:
        _resource(resource, shifts, stations, shop_load(data, resource.name))
    for make, steps in shop.routes.items():
        _route(make, steps, stations)
    for lot in shop.lots:
        _lot(lot)


def shop_load(data: Mapping[str, Any], name: str) -> dict[str, Any]:
    """The load of the resource of that name as it was written, clock times as text."""
    load: dict[str, Any] = next(item.get("load") or {} for item in data["resources"] if item["name"] == name)
    return load


def _station(facts: StationFacts, position: int) -> Station:
    values = {"name": facts.name, "kind": facts.kind, "rule": facts.rule, "position": position}
    return Station.objects.update_or_create(code=facts.code, defaults=values)[0]


def _shift(name: str, facts: Mapping[str, Any]) -> Shift:
    values = {"always": facts.get("always", False), "week": facts.get("week", {})}
    return Shift.objects.update_or_create(name=name, defaults=values)[0]


def _resource(
    facts: ResourceFacts, shifts: Mapping[str, Shift], stations: Mapping[str, Station], load: Mapping[str, Any]
) -> None:
    values = {
        "shift": shifts[facts.calendar],
        "count": facts.count,
        "pauses": facts.pauses,
        "load_capacity": load.get("capacity"),
        "load_wait_minutes": load.get("wait_minutes"),
        "load_start_at": load.get("start_at", []),
    }
    resource, _ = Resource.objects.update_or_create(name=facts.name, defaults=values)
    resource.stations.set(stations[code] for code in facts.stations)


def _route(make: str, steps: list[StepFacts], stations: Mapping[str, Station]) -> None:
    wanted = [
        {**asdict(step), "seq": seq, "station": stations[step.station]} for seq, step in enumerate(steps, start=1)
    ]
    active = Route.objects.filter(make=make, active=True).first()
    if active is not None and _written(active) == wanted:
        return
    Route.objects.filter(make=make).update(active=False)
    version = Route.objects.filter(make=make).count() + 1
    route = Route.objects.create(make=make, version=version)
    RouteStep.objects.bulk_create(RouteStep(route=route, **values) for values in wanted)


def _written(route: Route) -> list[dict[str, Any]]:
    names = [*StepFacts.__dataclass_fields__, "seq"]
    return [{name: getattr(step, name) for name in names} for step in route.steps.select_related("station")]


def _lot(facts: LotFacts) -> None:
    values = {"product": facts.product, "expires": facts.expires}
    Lot.objects.update_or_create(what=facts.what, number=facts.number, defaults=values)
