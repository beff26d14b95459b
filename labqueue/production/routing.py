"""The route by which a piece is made, and that no material is sent where it must not go."""

from collections.abc import Iterable

from labqueue.base.errors import Conflict, Fault, refuse
from labqueue.production.models import Route, RouteStep, Station
from orders.findings import Finding, Moment
from orders.makes import make_of
from orders.materials import Firing, Kind, Material, firing
from orders.models import Item
from orders.rules import hits
from orders.rules.floor import Routed

# Furnaces by the firing they do; the two enumerations share their words.
FURNACES = {Firing.SINTER: Station.Kind.SINTERING, Firing.CRYSTALLISE: Station.Kind.CRYSTALLISATION}


def route_for(item: Item) -> Route:
    """The active route of how `item` is made. Raises Conflict where there is none, or none fit for its material."""
    field = f"items.{item.line - 1}.material"
    route = Route.objects.filter(make=item.make, active=True).first()
    if route is None:
        why = f"There is no route for “{item.make.label}” (item {item.line}). Add one to the laboratory's routes first."
        raise refuse("route", why, field, kind=Conflict)
    found = misrouted(item.material, _furnaces(route.steps.select_related("station")))
    if found:
        then = f"Correct the route of “{route}” (item {item.line})."
        raise Conflict(Fault(one.rule, f"{one} {then}", field) for one in found)
    return route


def misrouted(material: str, furnaces: "set[str]") -> list[Finding]:
    """Why a material cannot be made over these kinds of furnaces (V02, V03); empty where it can.

    Stations and firings share the words for their furnaces.
    """
    return hits(Moment.FLOOR, Routed(material, frozenset(furnaces)))


def may_fire(material: str, station: Station) -> bool:
    """Whether a piece of that material may be at that station at all."""
    return station.kind not in FURNACES.values() or FURNACES.get(firing(material)) == station.kind


def materials_of(make: str, steps: Iterable[RouteStep]) -> list[str]:
    """The materials of which pieces of that make can be when made by these steps, in their usual order."""
    furnaces = _furnaces(steps)
    ways = [(kind, False) for kind in Kind.values] + [(Kind.CROWN.value, True)]
    fitting = [m for m in Material.values if not misrouted(m, furnaces)]
    return [m for m in fitting if any(make_of(kind, m, layered) == make for kind, layered in ways)]


def _furnaces(steps: Iterable[RouteStep]) -> set[str]:
    return {step.station.kind for step in steps if step.station.kind in FURNACES.values()}
