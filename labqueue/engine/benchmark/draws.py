"""Drawing times with Python's own random numbers, for the programs that are compared with the engine."""

import math
import random
from collections.abc import Callable
from functools import partial
from itertools import repeat

from labqueue.engine.distributions import Distribution

Draw = Callable[[], float]
MOST_TRIES = 100_000


def draw_of(r: random.Random, dist: Distribution) -> Draw:
    """A function without arguments that draws minutes; what can be worked out beforehand is."""
    if dist.kind == "mixture":
        parts = [draw_of(r, part) for part in dist.parts]
        return lambda: r.choices(parts, dist.numbers)[0]()
    if dist.kind == "empirical":
        return partial(r.choice, dist.numbers)
    return _KINDS[dist.kind](r, *dist.numbers)


def rest(draw: Draw, elapsed: float) -> float:
    """The minutes left of a time that has lasted `elapsed` minutes: drawn until it is longer; 0 if it never is."""
    found = next((minutes for minutes in (draw() for _ in range(MOST_TRIES)) if minutes > elapsed), elapsed)
    return found - elapsed


def _lognormal(r: random.Random, mean: float, sigma: float) -> Draw:
    gauss, exp, mu = r.gauss, math.exp, math.log(mean) - sigma * sigma / 2
    return lambda: exp(gauss(mu, sigma))


_KINDS: dict[str, Callable[..., Draw]] = {
    "fixed": lambda r, value: repeat(value).__next__,
    "exponential": lambda r, mean: partial(r.expovariate, 1 / mean),
    "gamma": lambda r, mean, shape: partial(r.gammavariate, shape, mean / shape),
    "lognormal": _lognormal,
    "triangular": lambda r, low, mode, high: partial(r.triangular, low, high, mode),
    "uniform": lambda r, low, high: partial(r.uniform, low, high),
}
