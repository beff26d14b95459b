"""The route by which a piece is made, and that no material is sent where it must not go."""

from collections.abc import Iterable

from labqueue.base.errors import Conflict, refuse
from labqueue.production.models import Route, RouteStep, Station
from orders.makes import make_of
from orders.materials import Firing, Kind, Material, firing
from orders.models import Item

# Furnaces by the firing they do; the two enumerations share their words.
FURNACES = {Firing.SINTER: Station.Kind.SINTERING, Firing.CRYSTALLISE: Station.Kind.CRYSTALLISATION}


def route_for(item: Item) -> Route:
    """The active route of how `item` is made. Raises Conflict where there is none, or none fit for its material."""
    field = f"items.{item.line - 1}.material"
    route = Route.objects.filter(make=item.make, active=True).first()
    if route is None:
        why = f"There is no route for “{item.make.label}” (item {item.line}). Add one to the laboratory's routes first."
        raise refuse("route", why, field, kind=Conflict)
    why = misrouted(item.material, _furnaces(route.steps.select_related("station")))
    if why:
        raise refuse("route", f"{why} Correct the route of “{route}” (item {item.line}).", field, kind=Conflict)
    return route


def misrouted(material: str, furnaces: "set[str]") -> str:
    """Why a material cannot be made over these kinds of furnaces, or an empty text.

    Metals, polymers and resins must never see a furnace; zirconia must be sintered, lithium disilicate crystallised.
    """
    name, needed = Material(material).label, FURNACES.get(firing(material))
    wrong = sorted(furnaces - {needed})
    if wrong:
        return f"{name} must not go into a {Station.Kind(wrong[0]).label.lower()}."
    if needed is not None and needed not in furnaces:
        return f"{name} needs a step at a {needed.label.lower()}, and the route has none."
    return ""


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
