"""The report of the benchmark: all measurements of one run, written as tables."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from labqueue.engine import Shop, simulate
from labqueue.engine.benchmark.ciw_shop import CiwShop
from labqueue.engine.benchmark.contest import SEED, Contest, Runs, Timing, contest
from labqueue.engine.benchmark.laboratory import laboratory
from labqueue.engine.benchmark.simpy_shop import SimpyShop
from labqueue.engine.benchmark.subset import subset
from labqueue.engine.benchmark.timing import alone, medians, wall_seconds

Write = Callable[[str], object]
ONE_MEMORY = 2**20


@dataclass(frozen=True)
class Scale:
    """How much is measured."""

    sizes: tuple[int, ...]
    """Open jobs, ascending."""
    replications: int
    repeats: int
    simulated: int
    """Open jobs times replications of SimPy in one repeat."""
    subset_runs: tuple[int, int]
    """Replications of SimPy and of Ciw of the shop that Ciw can state, in one repeat."""
    growth: tuple[int, ...]
    rule_replications: int


FULL = Scale((100, 200, 500, 1000, 2000, 5000), 1000, 3, 20_000, (40, 30), (100, 200, 500, 1000, 2000), 300)
QUICK = Scale((100, 200, 500), 200, 1, 10_000, (20, 10), (100, 200), 50)


def report(scale: Scale, write: Write) -> bool:
    """Measure and write it down table by table; returns whether all answers agree."""
    contests = [*laboratories(scale), *subsets(scale)]
    write(f"Processor time of one thread, median of {scale.repeats}.\n\n")
    write(table(["shop", "open jobs", "program", "replications", "seconds", *PER_OPERATION], rows(contests)))
    write("\n" + memory(scale) + "\n" + first_call(scale) + "\n")
    middle = min(1000, scale.sizes[-1])
    write("\n" + replications_growth(middle, scale) + "\n" + threads(middle, scale) + "\n" + rules(scale) + "\n\n")
    write(table(["shop", "open jobs", "against", "figure", "engine", "witness", "z"], agreement(contests)))
    worst = max(abs(one.z) for each in contests for found in each.comparisons.values() for one in found)
    agree = all(one.agrees for each in contests for found in each.comparisons.values() for one in found)
    write(f"\nThe answers {'agree' if agree else 'DISAGREE'}: the largest difference is {worst:.1f} standard errors.\n")
    return agree


PER_OPERATION = ("operations/s", "ns/operation", "times the engine")


def laboratories(scale: Scale) -> Iterable[Contest]:
    """The laboratory in all sizes, beside SimPy."""
    for jobs in scale.sizes:
        runs: Runs = {SimpyShop: max(scale.simulated // jobs, 2)}
        yield contest("laboratory", laboratory(jobs), scale.replications, runs, scale.repeats)


def subsets(scale: Scale) -> Iterable[Contest]:
    """The shop that Ciw can state, beside SimPy and Ciw."""
    simpy_runs, ciw_runs = scale.subset_runs
    for name, shifts in (("six stations", False), ("six stations in shifts", True)):
        runs: Runs = {SimpyShop: simpy_runs, CiwShop: ciw_runs}
        yield contest(name, subset(shifts), scale.replications, runs, scale.repeats)


def rows(contests: Iterable[Contest]) -> list[list[str]]:
    """One row for each program on each shop."""
    return [[each.shop, str(each.jobs), *_timing(each, timing)] for each in contests for timing in each.timings]


def _timing(each: Contest, timing: Timing) -> list[str]:
    per_operation = [f"{timing.a_second:,.0f}", f"{timing.nanoseconds:,.1f}", f"{each.times(timing):,.1f}"]
    return [timing.program, str(timing.replications), f"{timing.seconds:.3f}", *per_operation]


def agreement(contests: Iterable[Contest]) -> list[list[str]]:
    """One row for each figure that was compared."""
    return [
        [each.shop, str(each.jobs), label, one.name, f"{one.engine:.5g}", f"{one.witness:.5g}", f"{one.z:+.2f}"]
        for each in contests
        for label, found in each.comparisons.items()
        for one in found
    ]


def memory(scale: Scale) -> str:
    """The most memory that a process holds, by open jobs."""
    most = [(jobs, alone(jobs, scale.replications).bytes / ONE_MEMORY) for jobs in scale.sizes]
    words = ", ".join(f"{size:.0f} MiB at {jobs}" for jobs, size in most)
    return f"Peak memory of a fresh process, {scale.replications} replications: {words} open jobs."


def first_call(scale: Scale) -> str:
    """How long a fresh process takes for its first answer."""
    fresh = min((alone(200, 1) for _ in range(scale.repeats)), key=lambda one: one.import_seconds + one.first_seconds)
    total = fresh.import_seconds + fresh.first_seconds
    parts = f"import {fresh.import_seconds:.2f} s, first forecast {fresh.first_seconds:.2f} s"
    return f"First call in a fresh process from the cache: {total:.2f} s by the clock ({parts})."


def replications_growth(jobs: int, scale: Scale) -> str:
    """Time by replications, by the clock of the processor."""
    shop = Shop.from_dict(laboratory(jobs))
    taken = medians({str(n): _simulation(shop, n) for n in scale.growth}, 1)
    words = ", ".join(f"{seconds:.3f} s for {n}" for n, seconds in taken.items())
    return f"Growth with replications at {jobs} open jobs: {words}."


def threads(jobs: int, scale: Scale) -> str:
    """One thread and two, by the clock."""
    shop = Shop.from_dict(laboratory(jobs))
    calls = {str(n): _simulation(shop, scale.replications, n) for n in (1, 2)}
    taken = medians(calls, scale.repeats, wall_seconds)
    words = f"{taken['1']:.3f} s on one, {taken['2']:.3f} s on two: {taken['1'] / taken['2']:.2f} times as quick"
    return f"Threads at {jobs} open jobs, {scale.replications} replications, by the clock: {words}."


def rules(scale: Scale) -> str:
    """Rules whose order changes with the clock, beside `edd`."""
    jobs = scale.sizes[-1]
    shops = {rule: Shop.from_dict(laboratory(jobs, rule)) for rule in ("edd", "cr", "atc")}
    calls = {rule: _simulation(shop, scale.rule_replications) for rule, shop in shops.items()}
    taken = medians(calls, scale.repeats)
    words = ", ".join(f"{rule} {taken[rule] / taken['edd']:.2f}" for rule in ("cr", "atc"))
    return f"Rules at {jobs} open jobs, times the cost of edd ({taken['edd']:.3f} s): {words}."


def _simulation(shop: Shop, replications: int, threads: int = 1) -> Callable[[], object]:
    return lambda: simulate(shop, replications, SEED, threads)


def table(heads: Sequence[str], body: Sequence[Sequence[str]]) -> str:
    """A table in Markdown, with columns of equal width."""
    widths = [max(map(len, column)) for column in zip(heads, *body, strict=True)]
    lines = [
        "| " + " | ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) + " |"
        for row in [heads, *body]
    ]
    lines.insert(1, "|" + "|".join("-" * (width + 2) for width in widths) + "|")
    return "\n".join(lines) + "\n"
