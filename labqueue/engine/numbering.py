"""Numbers for what the shop names: distributions with their tables, stations, steps of routes, queues."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from labqueue.engine.distributions import Distribution
from labqueue.engine.draws import CELLS, KINDS, MIXTURE, survival_of, table_of
from labqueue.engine.shop import Shop
from labqueue.engine.state import CELL, DIST, NUMBER

Records = Any
"""A numpy array of records; its fields are read by name."""


def records(rows: Sequence[tuple[Any, ...]], dtype: np.dtype[np.void]) -> Records:
    """Rows of values as an array of records."""
    return np.array(list(rows), dtype=dtype)


def table(rows: Sequence[dict[str, Any]], dtype: np.dtype[np.void]) -> Records:
    """Rows that name their fields as an array of records; fields that a row does not name are 0."""
    found = np.zeros(len(rows), dtype=dtype)
    for name in dtype.names or ():
        found[name] = [row.get(name, 0) for row in rows]
    return found


def column(values: Sequence[Any], dtype: np.dtype[np.void]) -> Records:
    """Values as an array of records of one field."""
    return records([(value,) for value in values], dtype)


@dataclass
class Numbers:
    """Distributions as numbered records, each shape with one table, and the pool of their lists of numbers."""

    rows: list[tuple[Any, ...]] = field(default_factory=list)
    pool: list[float] = field(default_factory=list)
    tables: list[np.ndarray[Any, Any]] = field(default_factory=list)
    known: dict[object, int] = field(default_factory=dict)

    def add(self, dist: Distribution, elapsed: float = 0.0) -> int:
        """The number of a distribution, or of the rest of it after `elapsed` minutes."""
        key = (dist, elapsed)
        if key not in self.known:
            if dist.kind == "mixture":
                self.known[key] = self._mixture(dist, elapsed)
            else:
                self.known[key] = len(self.rows)
                self.rows.append(self._row(dist, elapsed))
        return self.known[key]

    def _mixture(self, dist: Distribution, elapsed: float) -> int:
        """The parts follow their mixture; given the time already spent, each weighs as much as it survives."""
        shares = [w * survival(part, elapsed) for w, part in zip(dist.numbers, dist.parts, strict=True)]
        if sum(shares) <= 0:
            shares = list(dist.numbers)
        number = len(self.rows)
        self.rows.append((MIXTURE, -1, 0.0, 0.0, 0.0, len(self.pool), len(shares), elapsed, 1.0))
        self.pool += list(np.cumsum(shares) / sum(shares))
        self.rows += [self._row(part, elapsed) for part in dist.parts]
        return number

    def _row(self, dist: Distribution, elapsed: float) -> tuple[Any, ...]:
        first, count = 0, 0
        a, b, c = (*dist.numbers[:3], 0.0, 0.0, 0.0)[:3]
        if dist.kind == "empirical":
            first, count = len(self.pool), len(dist.numbers)
            self.pool += dist.numbers
        table = -1
        if dist.kind in ("exponential", "gamma", "lognormal") and elapsed == 0.0:
            table = self._table(KINDS.index(dist.kind), b)
        return (KINDS.index(dist.kind), table, a, b, c, first, count, elapsed, survival(dist, elapsed))

    def _table(self, kind: int, b: float) -> int:
        key = ("table", kind, b)
        if key not in self.known:
            self.known[key] = CELLS * len(self.tables)
            self.tables.append(table_of(kind, b))
        return self.known[key]

    def arrays(self) -> dict[str, Any]:
        """The arrays `dist`, `cell` and `pool`."""
        cells = [(at, slope) for table in self.tables for at, slope in table.tolist()]
        return {"dist": records(self.rows, DIST), "cell": records(cells, CELL), "pool": column(self.pool, NUMBER)}


def survival(dist: Distribution, elapsed: float) -> float:
    """P(X >= elapsed)."""
    if elapsed == 0.0:
        return 1.0
    if dist.kind == "empirical":
        return sum(value >= elapsed for value in dist.numbers) / len(dist.numbers)
    a, b, c = (*dist.numbers[:3], 0.0, 0.0, 0.0)[:3]
    return float(survival_of(KINDS.index(dist.kind), a, b, c, elapsed))


@dataclass(frozen=True)
class Places:
    """Numbers of names, used while compiling."""

    stations: dict[str, int]
    first_op: dict[str, int]
    queues: dict[tuple[str, str], int]
    """(station, family) to queue; the family is "" where no load serves the station."""
    load_stations: frozenset[str]

    @classmethod
    def of(cls, shop: Shop) -> "Places":
        """Number the stations, the steps of all routes, and the queues station by station."""
        load_stations = frozenset(
            station for resource in shop.resources if resource.load and resource.count for station in resource.stations
        )
        families: dict[str, list[str]] = {station: [] for station in shop.stations}
        first_op: dict[str, int] = {}
        count = 0
        for route in shop.routes.values():
            first_op[route.name] = count
            count += len(route.steps)
            for step in route.steps:
                if step.station is not None:
                    family = step.family if step.station in load_stations else ""
                    if family not in families[step.station]:
                        families[step.station].append(family)
        pairs = [(station, family) for station in shop.stations for family in families[station] or [""]]
        stations = {name: i for i, name in enumerate(shop.stations)}
        return cls(stations, first_op, {pair: i for i, pair in enumerate(pairs)}, load_stations)

    def queue(self, station: str, family: str) -> int:
        """The number of the queue in which a step waits."""
        return self.queues[station, family if station in self.load_stations else ""]
