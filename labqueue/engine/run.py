"""Running a compiled shop: slices of replications on own threads; the answer does not depend on their number."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from labqueue.engine.loop import simulate_slice
from labqueue.engine.memory import Memory, allot
from labqueue.engine.numbering import Records
from labqueue.engine.plan import MOST_EVENTS, MOST_LOGGED, Plan, Sizes, compile_shop
from labqueue.engine.reading import ShopError
from labqueue.engine.shop import Shop
from labqueue.engine.state import FINE, LOG_FULL, TOO_FEW_PLACES, TOO_MANY_EVENTS, TOO_MANY_JOBS, TOO_MANY_TIMERS

SLICE = 25
"""Replications of one call of the kernel."""
MOST_SLOTS = 500_000
"""Jobs that came and are not finished, in one replication, after which it is given up."""


@dataclass(frozen=True)
class Books:
    """The raw figures of all replications, as arrays of records (see `state` for their fields)."""

    completion: NDArray[np.int64]
    """(replications, jobs) microseconds from now, NEVER if unfinished."""
    wait: Records
    """(replications, batches, stations)"""
    use: Records
    """(replications, stations)"""
    work: Records
    """(replications, resources)"""
    flow: Records
    """(replications, batches, arrivals)"""
    step_wait: NDArray[np.int64]
    """Microseconds waited by each step of the file's jobs, over all replications."""
    log: Records | None
    """Single waits and flows, or None where `histogram` (groups, bins) holds their counts."""
    histogram: NDArray[np.int64] | None


def run_replications(
    shop: Shop, replications: int, seed: int, threads: int, between: Callable[[], object] = lambda: None
) -> tuple[Plan, Books]:
    """Simulate; returns the plan with the raw figures. `between` is called after each slice, in this thread.

    Raises:
        ShopError: a replication reached the bound on events or on jobs in the shop.
        Exception: whatever `between` raises; slices not yet begun are then left out.
    """
    plan = compile_shop(shop, replications)
    try:
        return _run(plan, seed, threads, between)
    except _TooMuchToKeep:
        return _run(compile_shop(shop, replications, replace(plan.sizes, log=0)), seed, threads, between)


class _TooMuchToKeep(Exception):
    """Far more waits than expected, such as by steps that fail again and again: all are counted in the histogram."""


def _run(plan: Plan, seed: int, threads: int, between: Callable[[], object]) -> tuple[Plan, Books]:
    replications = plan.replications
    runner = _Runner(plan, seed)
    slices = [(first, min(SLICE, replications - first)) for first in range(0, replications, SLICE)]
    parts = []
    for part in _in_threads(runner, slices, threads) if threads > 1 else (runner.run(*one) for one in slices):
        parts.append(part)
        between()
    return runner.plan, _join(parts)


def _in_threads(runner: "_Runner", slices: list[tuple[int, int]], threads: int) -> Iterator["Books"]:
    """The figures of the slices in their order, from threads that are made here, after any fork."""
    pool = ThreadPoolExecutor(threads, thread_name_prefix="replications")
    try:
        for job in [pool.submit(runner.run, *one) for one in slices]:
            yield job.result()
    finally:
        pool.shutdown(cancel_futures=True)


class _Runner:
    """Runs slices of one plan, from any thread; where the room of the plan is too small, all go on with more."""

    def __init__(self, plan: Plan, seed: int) -> None:
        self.plan = plan
        self.key = np.uint64(seed % 2**64)

    def run(self, first: int, count: int) -> Books:
        """Run `count` replications from number `first`."""
        while True:
            plan = self.plan
            m = allot(plan, count)
            status = simulate_slice(m.world, m.first_world, m.changing, m.originals, self.key, first, count)
            if status == FINE:
                return _books(plan, m)
            row = first + int(m.world[0]["row"])
            self.plan = compile_shop(plan.shop, plan.replications, _GROW[status](plan, row))


def _books(plan: Plan, m: Memory) -> Books:
    figures = m.figures
    keeps_log = bool(plan.counters["keeps_log"])
    return Books(
        completion=figures["completion"]["time"],
        wait=figures["wait"],
        use=figures["use"],
        work=figures["work"],
        flow=figures["flow"],
        step_wait=figures["step_wait"]["time"],
        log=figures["log"][: m.world[0]["logged"]].copy() if keeps_log else None,
        histogram=None if keeps_log else figures["bin"]["count"],
    )


def _give_up_events(plan: Plan, row: int) -> Sizes:
    raise ShopError(
        f"horizon_minutes: replication {row} reached the bound of {MOST_EVENTS} events; "
        "choose a shorter horizon, or look for steps that take no time and fail almost always"
    )


def _more_slots(plan: Plan, row: int) -> Sizes:
    if plan.sizes.slots >= MOST_SLOTS:
        raise ShopError(
            f"arrivals: replication {row} has more than {MOST_SLOTS} jobs unfinished at once; choose a shorter horizon"
        )
    return replace(plan.sizes, slots=4 * plan.sizes.slots, timers=4 * plan.sizes.timers)


def _more_log(plan: Plan, row: int) -> Sizes:
    most = 4 * MOST_LOGGED * SLICE // max(plan.replications, SLICE)
    if plan.sizes.log >= most:
        raise _TooMuchToKeep
    return replace(plan.sizes, log=min(4 * plan.sizes.log, most))


_GROW: dict[int, Callable[[Plan, int], Sizes]] = {
    TOO_MANY_EVENTS: _give_up_events,
    TOO_MANY_JOBS: _more_slots,
    LOG_FULL: _more_log,
    TOO_MANY_TIMERS: lambda plan, row: replace(plan.sizes, timers=4 * plan.sizes.timers),
    TOO_FEW_PLACES: lambda plan, row: replace(plan.sizes, blocks=4 * plan.sizes.blocks),
}


def _join(parts: list[Books]) -> Books:
    """The figures of all slices, in the order of the replications; sums of whole numbers, so exact in any order."""
    logs = [part.log for part in parts if part.log is not None]
    histograms = [part.histogram for part in parts if part.histogram is not None]
    return Books(
        completion=np.concatenate([part.completion for part in parts]),
        wait=np.concatenate([part.wait for part in parts]),
        use=np.concatenate([part.use for part in parts]),
        work=np.concatenate([part.work for part in parts]),
        flow=np.concatenate([part.flow for part in parts]),
        step_wait=np.sum([part.step_wait for part in parts], axis=0, dtype=np.int64),
        log=np.concatenate(logs) if logs else None,
        histogram=np.sum(histograms, axis=0, dtype=np.int64) if histograms else None,
    )
