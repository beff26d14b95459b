"""Routes: the steps a job takes, which follows which, and where a failed step goes back to."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from labqueue.engine.distributions import Distribution, read_distribution
from labqueue.engine.reading import known_name, listing, mapping, number, refuse, text


@dataclass(frozen=True)
class Step:
    """One step of a route; `after` and `back_to` are indexes of steps in the same route."""

    name: str
    station: str | None
    minutes: Distribution
    after: tuple[int, ...]
    family: str = ""
    fail_probability: float = 0.0
    back_to: int = -1


@dataclass(frozen=True)
class Route:
    """The steps of one kind of job, in the order of the file."""

    name: str
    steps: tuple[Step, ...]

    def index(self, step: str) -> int:
        """The index of the step of that name, or -1."""
        return next((i for i, known in enumerate(self.steps) if known.name == step), -1)

    def followers(self, first: int) -> tuple[int, ...]:
        """`first` and every step that follows it by `after`, on all branches, in the order of the route."""
        found = {first}
        grown = True
        while grown:
            more = {i for i, step in enumerate(self.steps) if found.intersection(step.after)} - found
            found |= more
            grown = bool(more)
        return tuple(sorted(found))


def read_route(name: str, value: object, place: str, stations: Collection[str]) -> Route:
    """Read one route; refuses unknown names, a circle in `after` and a `back_to` that does not lie before."""
    items = listing(value, place)
    if not items:
        refuse(place, "needs at least one step")
    raw = [_known_keys(item, f"{place}[{i}]") for i, item in enumerate(items)]
    indexes: dict[str, int] = {}
    for i, item in enumerate(raw):
        step_name = text(item["step"], f"{place}[{i}].step")
        if step_name in indexes:
            refuse(f"{place}[{i}].step", f'the step "{step_name}" is named twice')
        indexes[step_name] = i
    route = Route(name, tuple(_step(item, i, f"{place}[{i}]", stations, indexes) for i, item in enumerate(raw)))
    _check_no_circle(route, place)
    for i, step in enumerate(route.steps):
        if step.back_to >= 0 and i not in route.followers(step.back_to):
            refuse(f"{place}[{i}].fail.back_to", f'"{route.steps[step.back_to].name}" does not lie before this step')
    return route


def _known_keys(value: object, place: str) -> dict[str, Any]:
    known = ["step", "station", "minutes", "after", "family", "fail"]
    return mapping(value, place, known=known, needs=["step", "station", "minutes"])


def _step(item: dict[str, Any], i: int, place: str, stations: Collection[str], indexes: dict[str, int]) -> Step:
    station = item["station"]
    probability, back_to = _fail(item["fail"], f"{place}.fail", indexes) if "fail" in item else (0.0, -1)
    return Step(
        name=item["step"],
        station=None if station is None else known_name(station, f"{place}.station", stations, "station"),
        minutes=read_distribution(item["minutes"], f"{place}.minutes"),
        after=_after(item["after"], f"{place}.after", indexes) if "after" in item else ((i - 1,) if i else ()),
        family=text(item["family"], f"{place}.family") if "family" in item else "",
        fail_probability=probability,
        back_to=back_to,
    )


def _after(value: object, place: str, indexes: dict[str, int]) -> tuple[int, ...]:
    named = [known_name(item, f"{place}[{k}]", indexes, "step") for k, item in enumerate(listing(value, place))]
    for k, name in enumerate(named):
        if name in named[:k]:
            refuse(f"{place}[{k}]", f'the step "{name}" is named twice')
    return tuple(indexes[name] for name in named)


def _fail(value: object, place: str, indexes: dict[str, int]) -> tuple[float, int]:
    given = mapping(value, place, known=["probability", "back_to"], needs=["probability", "back_to"])
    probability = number(given["probability"], f"{place}.probability", least=0)
    if probability >= 1:
        refuse(f"{place}.probability", f"must be below 1, or the job never finishes; not {probability:g}")
    return probability, indexes[known_name(given["back_to"], f"{place}.back_to", indexes, "step")]


def _check_no_circle(route: Route, place: str) -> None:
    """Take away steps without predecessors until none is left; what stays behind stands in a circle."""
    left = set(range(len(route.steps)))
    while free := {i for i in left if not left.intersection(route.steps[i].after)}:
        left -= free
    if left:
        first = min(left)
        refuse(f"{place}[{first}].after", f'a circle: step "{route.steps[first].name}" waits for itself')
