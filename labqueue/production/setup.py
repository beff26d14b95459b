"""Set the laboratory up from its own data, and bring it up to date when the data changes."""

import re
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any, TypeVar

from django.db import models, transaction
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import refuse
from labqueue.base.models import User
from labqueue.engine.reading import ShopError
from labqueue.engine.resources import Resource as ResourceFacts
from labqueue.production.models import Lot, Resource, Route, RouteStep, Shift, Station
from labqueue.production.shop_data import LotFacts, StationFacts, StepFacts, read_shop

M = TypeVar("M", bound=models.Model)
# The chain of the audit trail that tells how the laboratory was set up.
TRAIL = "production.setup"


class Note:
    """What became of the rows of one kind: for each that was made or changed its values before and after."""

    def __init__(self) -> None:
        self.before: dict[str, Any] = {}
        self.after: dict[str, Any] = {}

    def add(self, name: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> None:
        """Note the values that differ, if any; a row that is made had none before."""
        differ = [key for key in after if key not in before or before[key] != after[key]]
        if differ:
            self.before |= {name: {key: before[key] for key in differ}} if before else {}
            self.after |= {name: {key: after[key] for key in differ}}


@transaction.atomic
def load(data: Mapping[str, Any], actor: User | None = None) -> None:
    """Make or update stations, shifts, resources, routes and lots as `data` states them (see fixtures/laboratory.toml).

    What `data` does not name stays as it is. A route that differs becomes a new version; cases keep the one under
    which they were released. A lot on file stays what it is: what was made of it relies on that. What is made or
    changed stands in the audit trail, one event per kind; `actor` None is the service itself.

    Raises Refusal with the place where the data cannot be used; then nothing is written.
    """
    try:
        shop = read_shop(data, timezone.localdate())
    except ShopError as error:
        place = str(error).partition(":")[0]
        raise refuse("shop", str(error), field=re.sub(r"\[(\d+)\]", r".\1", place)) from error
    notes = {kind: Note() for kind in ("stations", "shifts", "resources", "routes", "lots")}
    stations = {facts.code: _station(facts, i, notes["stations"]) for i, facts in enumerate(shop.stations, start=1)}
    shifts = {name: _shift(name, facts, notes["shifts"]) for name, facts in shop.shifts.items()}
    for resource in shop.resources:
        _resource(resource, shifts, stations, shop_load(data, resource.name), notes["resources"])
    for make, steps in shop.routes.items():
        _route(make, steps, stations, notes["routes"])
    for lot in shop.lots:
        _lot(lot, notes["lots"])
    for kind, note in notes.items():
        if note.after:
            audit.record(TRAIL, f"{kind} set up", actor, note.before, note.after)


def shop_load(data: Mapping[str, Any], name: str) -> dict[str, Any]:
    """The load of the resource of that name as it was written, clock times as text."""
    load: dict[str, Any] = next(item.get("load") or {} for item in data["resources"] if item["name"] == name)
    return load


def _put(model: type[M], note: Note, key: Mapping[str, Any], values: Mapping[str, Any]) -> M:
    """The row of that key with these values, made or changed where it must be."""
    row = model._default_manager.filter(**key).first()
    before = {name: getattr(row, name) for name in values} if row else {}
    note.add(" ".join(key.values()), before, values)
    if row is None or before != values:
        row, _ = model._default_manager.update_or_create(**key, defaults=values)
    return row


def _station(facts: StationFacts, position: int, note: Note) -> Station:
    values = {"name": facts.name, "kind": facts.kind, "rule": facts.rule, "position": position}
    return _put(Station, note, {"code": facts.code}, values)


def _shift(name: str, facts: Mapping[str, Any], note: Note) -> Shift:
    values = {"always": facts.get("always", False), "week": facts.get("week", {})}
    return _put(Shift, note, {"name": name}, values)


def _resource(
    facts: ResourceFacts,
    shifts: Mapping[str, Shift],
    stations: Mapping[str, Station],
    load: Mapping[str, Any],
    note: Note,
) -> None:
    values = {
        "shift": shifts[facts.calendar],
        "count": facts.count,
        "pauses": facts.pauses,
        "load_capacity": load.get("capacity"),
        "load_wait_minutes": load.get("wait_minutes"),
        "load_start_at": load.get("start_at", []),
    }
    known = Resource.objects.filter(name=facts.name).first()
    served = {station.code for station in known.stations.all()} if known else set()
    resource = _put(Resource, note, {"name": facts.name}, values)
    if served != set(facts.stations):
        resource.stations.set(stations[code] for code in facts.stations)
        note.add(f"{facts.name} serves", {"stations": sorted(served)}, {"stations": sorted(facts.stations)})


def _route(make: str, steps: list[StepFacts], stations: Mapping[str, Station], note: Note) -> None:
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
    note.add(make, {"version": active.version} if active else {}, {"version": version})


def _written(route: Route) -> list[dict[str, Any]]:
    names = [*StepFacts.__dataclass_fields__, "seq"]
    return [{name: getattr(step, name) for name in names} for step in route.steps.select_related("station")]


def _lot(facts: LotFacts, note: Note) -> None:
    values = {"product": facts.product, "expires": facts.expires}
    _, made = Lot.objects.get_or_create(what=facts.what, number=facts.number, defaults=values)
    if made:
        note.add(f"{facts.what} {facts.number}", {}, values)
