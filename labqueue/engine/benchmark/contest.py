"""The engine and other programs on one shop in one run: how long each takes, and whether they agree."""

import copy
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import count
from typing import Any, Protocol

from labqueue.engine import Forecast, Shop, simulate
from labqueue.engine.benchmark.agreement import Comparison, compare
from labqueue.engine.benchmark.result import Result
from labqueue.engine.benchmark.timing import medians

SEED = 7
COUNTED = 20
"""Replications from which the operations of one are known well enough."""
NO_PLACE = "no place"


class Program(Protocol):
    """A program that simulates one shop."""

    label: str

    def run(self, seed: int) -> Result:
        """Simulate one replication."""


Runs = Mapping[Callable[[Shop], Program], int]
"""Programs, each with its replications in one repeat."""


@dataclass(frozen=True)
class Timing:
    """One program on one shop: `seconds` of the processor for `replications`, of `operations` steps each."""

    program: str
    replications: int
    seconds: float
    operations: float

    @property
    def nanoseconds(self) -> float:
        """Processor time for one operation."""
        return self.seconds / self.replications / self.operations * 1e9

    @property
    def a_second(self) -> float:
        """Operations in a second of the processor."""
        return 1e9 / self.nanoseconds


@dataclass(frozen=True)
class Contest:
    """What came out on one shop; the engine is the first of the timings."""

    shop: str
    jobs: int
    timings: tuple[Timing, ...]
    comparisons: Mapping[str, list[Comparison]]

    def times(self, timing: Timing) -> float:
        """How many times the processor time of the engine a program takes for one operation."""
        return timing.nanoseconds / self.timings[0].nanoseconds


def operations(document: Mapping[str, Any]) -> float:
    """Steps started in a replication, members of a load each for itself and pure waiting included.

    The forecast counts starts at stations. So steps without a station are given one where nobody ever waits: draws
    belong to the job and its step, so nothing else changes.
    """
    counted: dict[str, Any] = copy.deepcopy(dict(document))
    counted["calendars"][NO_PLACE] = {"always": True}
    counted["stations"][NO_PLACE] = {}
    room = len(counted.get("jobs", [])) + 1000
    counted["resources"][NO_PLACE] = {"stations": [NO_PLACE], "calendar": NO_PLACE, "count": room, "pauses": False}
    for step in (step for route in counted["routes"].values() for step in route):
        step["station"] = step["station"] or NO_PLACE
    forecast = simulate(Shop.from_dict(counted), COUNTED, SEED)
    if forecast.stations[-1]["wait_mean"]:
        raise ValueError("somebody waited where nobody should")
    return float(sum(station["started"] for station in forecast.stations))


def contest(
    name: str,
    document: Mapping[str, Any],
    replications: int,
    runs: Runs,
    repeats: int,
) -> Contest:
    """The engine with `replications`, and each program with its number of runs, `repeats` times in turn."""
    shop = Shop.from_dict(document)
    forecasts: list[Forecast] = []
    results: dict[str, list[Result]] = {}
    seeds = count()
    calls: dict[str, Callable[[], object]] = {
        "engine": lambda: forecasts.append(simulate(shop, replications, SEED)),
    }
    for kind, number in runs.items():
        program = kind(shop)
        results[program.label] = []
        calls[program.label] = _runs(program, number, seeds, results[program.label])
    seconds = medians(calls, repeats)
    timings = [Timing("engine", replications, seconds["engine"], operations(document))]
    for (label, found), number in zip(results.items(), runs.values(), strict=True):
        mean = sum(result.operations for result in found) / len(found)
        timings.append(Timing(label, number, seconds[label], mean))
    comparisons = {label: compare(shop, forecasts[-1], found) for label, found in results.items()}
    return Contest(name, len(shop.jobs), tuple(timings), comparisons)


def _runs(program: Program, number: int, seeds: "count[int]", results: list[Result]) -> Callable[[], None]:
    return lambda: results.extend(program.run(next(seeds)) for _ in range(number))
