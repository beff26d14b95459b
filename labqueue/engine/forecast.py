"""The forecast: when each job will be finished, what waits where, and how sure that is."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from labqueue.engine.calendars import MINUTE, since
from labqueue.engine.histogram import quantile_of_counts
from labqueue.engine.jobs import Job
from labqueue.engine.measures import mean_and_interval, quantile, row_quantile, wilson
from labqueue.engine.plan import Plan
from labqueue.engine.run import Books, run_replications
from labqueue.engine.shop import Shop
from labqueue.engine.state import NEVER

CHUNK = 256
MOST_REPLICATIONS = 1_000_000
QUANTILES = {"p05": 0.05, "p50": 0.5, "p80": 0.8, "p95": 0.95}


@dataclass(frozen=True)
class Forecast:
    """The figures of a simulation; each entry of the lists is the plain form that `to_dict` gives."""

    now: datetime
    replications: int
    seed: int
    jobs: list[dict[str, Any]]
    stations: list[dict[str, Any]]
    resources: list[dict[str, Any]]
    arrivals: list[dict[str, Any]]
    completions: NDArray[np.float64]
    """(jobs, replications): minutes from now at which each job is finished, infinite if not by the horizon."""

    def to_dict(self) -> dict[str, Any]:
        """The forecast as plain values for JSON; `completions` is left out."""
        return {
            "now": self.now.isoformat(),
            "replications": self.replications,
            "seed": self.seed,
            "jobs": self.jobs,
            "stations": self.stations,
            "resources": self.resources,
            "arrivals": self.arrivals,
        }


def simulate(
    shop: Shop,
    replications: int = 1000,
    seed: int = 1,
    threads: int = 1,
    between: Callable[[], object] = lambda: None,
) -> Forecast:
    """Simulate a shop `replications` times and measure it.

    The answer depends on the shop, the seed and the replications only, not on `threads`. `between` is called in this
    thread after every few replications; what it raises ends the simulation.

    Raises:
        ValueError: fewer than one replication or thread, or too many replications.
        ShopError: a replication reached the bound on its events.
    """
    if replications < 1 or threads < 1:
        raise ValueError("replications and threads must be at least 1")
    if replications > MOST_REPLICATIONS:
        raise ValueError(f"replications must be at most {MOST_REPLICATIONS}")
    plan, books = run_replications(shop, replications, seed, threads, between)
    completions = np.empty((len(shop.jobs), replications))
    return Forecast(
        now=shop.now,
        replications=replications,
        seed=seed,
        jobs=_jobs(shop, books, completions),
        stations=_stations(plan, books),
        resources=_resources(plan, books),
        arrivals=_arrivals(shop, books),
        completions=completions,
    )


def _jobs(shop: Shop, books: Books, completions: NDArray[np.float64]) -> list[dict[str, Any]]:
    """The entries of the jobs, some hundred at a time so that few copies of the completions stand in memory at once.

    Fills `completions` (jobs, replications) in minutes.
    """
    waits = _waits(shop, books, completions.shape[1])
    found: list[dict[str, Any]] = []
    for first in range(0, len(shop.jobs), CHUNK):
        rows = np.sort(np.ascontiguousarray(books.completion[:, first : first + CHUNK].T), axis=1)
        points = {name: row_quantile(rows, share) for name, share in QUANTILES.items()}
        for i, job in enumerate(shop.jobs[first : first + CHUNK]):
            finish = {name: _instant(shop.now, float(point[i])) for name, point in points.items()}
            found.append({**_job(shop, job, rows[i]), "finish": finish, "waits": waits[first + i]})
        times = books.completion[:, first : first + CHUNK].T
        completions[first : first + CHUNK] = np.where(times >= NEVER, np.inf, times / MINUTE)
    return found


def _job(shop: Shop, job: Job, ascending: NDArray[np.int64]) -> dict[str, Any]:
    """The figures of one job from its completions in ascending order, but for the quantiles."""
    replications = len(ascending)
    done = int(np.searchsorted(ascending, NEVER))
    late = late_ci = None
    if job.due is not None:
        due = since(shop.now, job.due)
        count = done - min(int(np.searchsorted(ascending, due, side="right")), done)
        if due < shop.horizon:
            count += replications - done
        late, late_ci = count / replications, wilson(count, replications)
    return {
        "id": job.id,
        "late": late,
        "late_ci": late_ci,
        "mean_finish": _instant(shop.now, int(ascending[:done].sum()) / done) if done else None,
        "unfinished": (replications - done) / replications,
    }


def _instant(now: datetime, microseconds: float) -> str | None:
    """An instant `microseconds` from now to the whole second, with the offset of now; None for never."""
    if not np.isfinite(microseconds):
        return None
    seconds = round((now.microsecond + microseconds) / 1e6)
    return (now.replace(microsecond=0) + timedelta(seconds=seconds)).isoformat()


def _waits(shop: Shop, books: Books, replications: int) -> list[dict[str, float]]:
    """For each job the mean minutes waited at each station that it has not yet passed."""
    found: list[dict[str, float]] = []
    first = 0
    for job in shop.jobs:
        steps = shop.routes[job.route].steps
        ahead = {s.station: 0 for i, s in enumerate(steps) if s.station is not None and i not in job.done}
        for i, step in enumerate(steps):
            if step.station in ahead:
                ahead[step.station] += int(books.step_wait[first + i])
        found.append({station: total / replications / MINUTE for station, total in ahead.items()})
        first += len(steps)
    return found


def _p95(books: Books, group: int) -> float | None:
    """The 95 % point of the waits at a station, or the flows of an entry of arrivals, in minutes."""
    if books.histogram is not None:
        found = quantile_of_counts(books.histogram[group], 0.95)
    elif books.log is not None:
        found = quantile(books.log["value"][books.log["group"] == group], 0.95)
    return None if found is None else found / MINUTE


def _in_minutes(values: list[float] | None) -> list[float] | None:
    return None if values is None else [value / MINUTE for value in values]


def _stations(plan: Plan, books: Books) -> list[dict[str, Any]]:
    shop = plan.shop
    replications = len(books.use)
    measured = shop.horizon - shop.warm_up
    found: list[dict[str, Any]] = []
    for i, station in enumerate(shop.stations):
        opened = sum(
            time for r, time in zip(shop.resources, plan.open_time, strict=True) if r.count and station in r.stations
        )
        waited, starts = books.wait["waited"][:, :, i], books.wait["starts"][:, :, i]
        mean, interval = mean_and_interval(waited, starts)
        found.append(
            {
                "name": station,
                "utilisation": int(books.use["busy"][:, i].sum()) / opened / replications if opened else None,
                "wait_mean": None if mean is None else mean / MINUTE,
                "wait_ci": _in_minutes(interval),
                "wait_p95": _p95(books, i),
                "queue_mean": int(books.use["waiting"][:, i].sum()) / measured / replications if measured else None,
                "started": int(starts.sum()) / replications,
            }
        )
    return found


def _resources(plan: Plan, books: Books) -> list[dict[str, Any]]:
    replications = len(books.work)
    found: list[dict[str, Any]] = []
    for i, resource in enumerate(plan.shop.resources):
        opened = plan.open_time[i]
        busy, loads, units = (int(books.work[name][:, i].sum()) for name in ("busy", "loads", "units"))
        found.append(
            {
                "name": resource.name,
                "utilisation": busy / opened / replications if opened else None,
                "fill_mean": units / loads if loads else None,
            }
        )
    return found


def _arrivals(shop: Shop, books: Books) -> list[dict[str, Any]]:
    replications = len(books.flow)
    found: list[dict[str, Any]] = []
    for i, entry in enumerate(shop.arrivals):
        flow, finished = books.flow["flow"][:, :, i], books.flow["finished"][:, :, i]
        mean, interval = mean_and_interval(flow, finished)
        total = int(finished.sum())
        late = int(books.flow["late"][:, :, i].sum())
        found.append(
            {
                "route": entry.route,
                "flow_mean": None if mean is None else mean / MINUTE,
                "flow_ci": _in_minutes(interval),
                "flow_p95": _p95(books, len(shop.stations) + i),
                "late": late / total if total and entry.due is not None else None,
                "finished": total / replications,
            }
        )
    return found
