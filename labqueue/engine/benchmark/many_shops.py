"""The engine and the SimPy program on many small random shops: how many of their answers lie apart."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from labqueue.engine import Shop, simulate
from labqueue.engine.benchmark.agreement import Comparison, compare, outside
from labqueue.engine.benchmark.random_shops import random_shop
from labqueue.engine.benchmark.simpy_shop import SimpyShop

BAND = 0.999
REPLICATIONS = 2000
RUNS = 300


@dataclass(frozen=True)
class Apart:
    """How many of the comparisons lie outside the band."""

    shops: int
    comparisons: int
    outside: int
    worst: tuple[str, ...]
    """Those outside, with their shop."""

    @property
    def share(self) -> float:
        """The share outside; 1 - BAND is expected."""
        return self.outside / self.comparisons

    @property
    def agrees(self) -> bool:
        """Whether chance explains the number outside: at most 4 standard deviations above what is expected, plus 1."""
        expected = self.comparisons * (1 - BAND)
        return self.outside <= expected + 4 * math.sqrt(expected) + 1


def compare_many(first: int, shops: int, runs: int = RUNS) -> Apart:
    """Compare on the random shops of seeds `first`, `first` + 1, …"""
    found = [(seed, one) for seed in range(first, first + shops) for one in compare_one(seed, runs)]
    worst = [f"shop {seed}, {text(one)}" for seed, one in found if outside([one], BAND)]
    return Apart(shops, len(found), len(worst), tuple(worst))


def compare_one(seed: int, runs: int = RUNS) -> Iterator[Comparison]:
    """The mean completion, the waits and the flows of one random shop."""
    shop = Shop.from_dict(random_shop(seed))
    program = SimpyShop(shop)
    results = [program.run(seed * runs + number) for number in range(runs)]
    for one in compare(shop, simulate(shop, REPLICATIONS, seed), results):
        if one.name != "open jobs late":  # a share of few jobs is too far from normal for a narrow band
            yield one


def text(one: Comparison) -> str:
    """One comparison in words."""
    return f"{one.name}: {one.engine:.4g}, SimPy {one.witness:.4g}, z {one.z:+.2f}"
