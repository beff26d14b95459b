"""Jobs and routes of the SimPy program, worked out as far as possible before it runs."""

import random
from typing import Any

from labqueue.engine.benchmark.draws import Draw, draw_of
from labqueue.engine.benchmark.simpy_furnace import Furnace
from labqueue.engine.benchmark.simpy_stations import Station
from labqueue.engine.routes import Route

Place = Station | Furnace | None
StepTuple = tuple[Any, bool, Draw, float, int]
"""Where (a Place), whether that is a furnace, how long, the probability to fail and the step to go back to."""


class CompiledRoute:
    """A route as tuples; `linear` if each step follows the one before it in the file."""

    def __init__(self, route: Route, places: dict[str, Station | Furnace], r: random.Random) -> None:
        self.steps: list[StepTuple] = []
        for step in route.steps:
            place = places[step.station] if step.station is not None else None
            chance, back = step.fail_probability, step.back_to
            self.steps.append((place, isinstance(place, Furnace), draw_of(r, step.minutes), chance, back))
        self.after = [frozenset(step.after) for step in route.steps]
        self.linear = all(step.after == ((i - 1,) if i else ()) for i, step in enumerate(route.steps))
        self.next = [[k for k, after in enumerate(self.after) if i in after] for i in range(len(self.steps))]
        self.redone = [frozenset(route.followers(i)) for i in range(len(self.steps))]
        self.families = [step.family for step in route.steps]

    def able(self, done: set[int] | frozenset[int]) -> list[int]:
        """The steps not done whose predecessors are."""
        return [i for i, after in enumerate(self.after) if i not in done and after <= done]


class Job:
    """One job; `done` and `active` (step to process) are kept only where steps can run side by side."""

    __slots__ = ("active", "done", "due", "entry", "held", "order", "released", "route", "units")

    def __init__(self, route: CompiledRoute, order: int, due: float, units: int, released: float, entry: int) -> None:
        self.route, self.order, self.due, self.units = route, order, due, units
        self.released, self.entry, self.held = released, entry, 0.0
        self.done: set[int] = set()
        self.active: dict[int, Any] = {}

    def key(self, step: int) -> tuple[float, int, int]:
        """Its place among jobs that come to the station of a step in one instant."""
        place = self.route.steps[step][0]
        return (self.due if place is not None and place.edd else 0.0, self.order, step)
