"""Whether another program's answers agree with the engine's: differences in standard errors.

Both are samples of one distribution if they agree, so the spread of the engine's replications, which are many, stands
for both.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from labqueue.engine.benchmark.result import Result
from labqueue.engine.calendars import MINUTE, since
from labqueue.engine.forecast import Forecast
from labqueue.engine.measures import student_95
from labqueue.engine.shop import Shop

MOST_Z = 4.0
Rows = NDArray[np.float64]


@dataclass(frozen=True)
class Comparison:
    """One figure by the engine and by a witness, and their difference in standard errors."""

    name: str
    engine: float
    witness: float
    z: float

    @property
    def agrees(self) -> bool:
        """Whether the difference can be chance; one that is not a number never agrees."""
        return abs(self.z) <= MOST_Z


def compare(shop: Shop, forecast: Forecast, results: Sequence[Result]) -> list[Comparison]:
    """Mean completion and share late of the open jobs, the mean wait at each station, the mean flow of what came."""
    return [
        *_jobs(shop, forecast, results),
        *_stations(forecast, results),
        *_arrivals(forecast, results),
    ]


def outside(comparisons: Sequence[Comparison], share: float = 0.999) -> int:
    """How many lie outside the band that holds `share` of all chance differences."""
    bound = NormalDist().inv_cdf((1 + share) / 2)
    return sum(not abs(one.z) <= bound for one in comparisons)


def _jobs(shop: Shop, forecast: Forecast, results: Sequence[Result]) -> list[Comparison]:
    if not shop.jobs:
        return []
    ours = forecast.completions.T
    theirs = np.array([result.completions for result in results])
    horizon = shop.horizon_minutes
    dues = np.array([math.inf if job.due is None else since(shop.now, job.due) / MINUTE for job in shop.jobs])
    return [
        _of_rows("mean completion", _mean_before(ours, horizon), _mean_before(theirs, horizon)),
        _of_rows("open jobs late", _late(ours, dues, horizon), _late(theirs, dues, horizon)),
    ]


def _mean_before(completions: Rows, horizon: float) -> Rows:
    """The mean over the jobs in each replication; one not finished counts as finished at the horizon."""
    return np.mean(np.minimum(completions, horizon), axis=1, dtype=np.float64)


def _late(completions: Rows, dues: Rows, horizon: float) -> Rows:
    late = np.where(np.isinf(completions), dues < horizon, completions > dues)
    return np.mean(late, axis=1, dtype=np.float64)


def _of_rows(name: str, ours: Rows, theirs: Rows) -> Comparison:
    error = float(ours.std(ddof=1)) / math.sqrt(len(ours))
    return _comparison(name, float(ours.mean()), float(theirs.mean()), error, len(ours), len(theirs))


def _comparison(name: str, ours: float, theirs: float, error: float, replications: int, runs: int) -> Comparison:
    """`error` is the standard error of the engine's figure."""
    both = error * math.sqrt(1 + replications / runs)
    if both == 0:
        return Comparison(name, ours, theirs, 0.0 if math.isclose(ours, theirs, abs_tol=1e-6) else math.inf)
    return Comparison(name, ours, theirs, (ours - theirs) / both)


def _ratio(name: str, ours: tuple[Any, Any], sums: Sequence[float], counts: Sequence[int], n: int) -> list[Comparison]:
    """A mean over the starts or jobs of all replications together, `ours` with its interval from `n` replications.

    Empty where the engine or the witness has none.
    """
    mean, interval = ours
    if interval is None or not sum(counts):
        return []
    error = (interval[1] - interval[0]) / 2 / student_95(n - 1)
    return [_comparison(name, mean, sum(sums) / sum(counts), error, n, len(counts))]


def _stations(forecast: Forecast, results: Sequence[Result]) -> list[Comparison]:
    found: list[Comparison] = []
    for i, entry in enumerate(forecast.stations):
        waited, started = [r.waited[i] for r in results], [r.started[i] for r in results]
        ours = (entry["wait_mean"], entry["wait_ci"])
        found += _ratio(f"wait at {entry['name']}", ours, waited, started, forecast.replications)
    return found


def _arrivals(forecast: Forecast, results: Sequence[Result]) -> list[Comparison]:
    found: list[Comparison] = []
    for i, entry in enumerate(forecast.arrivals):
        flow, finished = [r.flow[i] for r in results], [r.finished[i] for r in results]
        ours = (entry["flow_mean"], entry["flow_ci"])
        found += _ratio(f"flow of {entry['route']}", ours, flow, finished, forecast.replications)
    return found
