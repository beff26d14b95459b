"""Whether another program's answers agree with the engine's: differences in standard errors.

Both are samples of one distribution if they agree. The larger of their two spreads stands for both: something rare may
have happened in one of them only.
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
from labqueue.engine.measures import mean_and_interval, student_95
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


@dataclass(frozen=True)
class Sample:
    """A mean of `size` replications, each of which contributes with a standard deviation of `spread`."""

    mean: float
    spread: float
    size: int


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
    return np.asarray(np.minimum(completions, horizon).mean(axis=1))


def _late(completions: Rows, dues: Rows, horizon: float) -> Rows:
    return np.asarray(np.where(np.isinf(completions), dues < horizon, completions > dues).mean(axis=1))


def _of_rows(name: str, ours: Rows, theirs: Rows) -> Comparison:
    return _comparison(name, _sample(ours), _sample(theirs))


def _sample(rows: Rows) -> Sample:
    return Sample(float(rows.mean()), float(rows.std(ddof=1)), len(rows))


def _comparison(name: str, ours: Sample, theirs: Sample) -> Comparison:
    error = max(ours.spread, theirs.spread) * math.sqrt(1 / ours.size + 1 / theirs.size)
    if error == 0:
        same = math.isclose(ours.mean, theirs.mean, rel_tol=1e-6, abs_tol=1e-6)
        return Comparison(name, ours.mean, theirs.mean, 0.0 if same else math.inf)
    return Comparison(name, ours.mean, theirs.mean, (ours.mean - theirs.mean) / error)


def _ratio(name: str, ours: tuple[Any, Any], sums: Sequence[float], counts: Sequence[int], n: int) -> list[Comparison]:
    """A mean over the starts or jobs of all replications together, `ours` with its interval from `n` replications.

    Empty where the engine or the witness has none.
    """
    whole = np.array(sums) * MINUTE
    mean, interval = mean_and_interval(whole.astype(np.int64), np.array(counts))
    if ours[1] is None or mean is None or interval is None:
        return []
    m = len(counts)
    theirs = Sample(mean / MINUTE, _spread(interval, m) / MINUTE, m)
    return [_comparison(name, Sample(ours[0], _spread(ours[1], n), n), theirs)]


def _spread(interval: list[float], size: int) -> float:
    """The standard deviation of one replication's part in a mean, from the 95 % interval."""
    return (interval[1] - interval[0]) / 2 / student_95(size - 1) * math.sqrt(size)


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
