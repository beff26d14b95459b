"""Random draws keyed by what they are for: (seed, replication, job, step, try), never by the order of events.

A key is hashed to a uniform number (the finaliser of splitmix64), and that is turned into minutes by the quantile
function. For the smooth distributions the quantile function is read from a table of CELLS equal cells of probability
in which it is a straight line with the cell's exact mean; in the two outer cells it is computed.
"""

import hashlib
import math
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from labqueue.engine.jit import helper, kernel, rare
from labqueue.engine.special import gamma_survival, gamma_upper, normal_upper
from labqueue.engine.state import State, cell_at, dist_at, job_at, op_at, pool_at, step_at

CELLS = 1024
FIXED, EXPONENTIAL, GAMMA, LOGNORMAL, TRIANGULAR, UNIFORM, EMPIRICAL, MIXTURE = range(8)
KINDS = ("fixed", "exponential", "gamma", "lognormal", "triangular", "uniform", "empirical", "mixture")
TIME, FAIL, HOLD, GAP, DUE = range(5)
"""What a draw is for; each purpose has its own numbers."""

SHIFT_A, SHIFT_B, SHIFT_C = np.uint64(30), np.uint64(27), np.uint64(31)
MIX_A, MIX_B = np.uint64(0xBF58476D1CE4E5B9), np.uint64(0x94D049BB133111EB)
GOLDEN = np.uint64(0x9E3779B97F4A7C15)
TRY, PURPOSE = np.uint64(0xD1342543DE82EF95), np.uint64(0xA0761D6478BD642F)
TOP = np.uint64(12)
NO_STEP = np.uint64(0)
"""The step key of what is drawn for a job as a whole."""


def name_key(*words: object) -> np.uint64:
    """A 64-bit key of some words, the same on every machine."""
    digest = hashlib.blake2b("\0".join(str(word) for word in words).encode(), digest_size=8).digest()
    return np.uint64(int.from_bytes(digest, "little"))


@helper
def mix(x: Any) -> Any:
    """The finaliser of splitmix64."""
    x = (x ^ (x >> SHIFT_A)) * MIX_A
    x = (x ^ (x >> SHIFT_B)) * MIX_B
    return x ^ (x >> SHIFT_C)


@helper
def replication_key(seed: Any, replication: int) -> Any:
    """The key of a replication; `seed` as uint64."""
    return mix(mix(seed + GOLDEN) + np.uint64(replication) * GOLDEN)


@helper
def job_key(replication: Any, name: Any) -> Any:
    """The key of a job within a replication; `name` is the key of its name."""
    return mix(replication ^ name)


@helper
def uniform(job: Any, step: Any, attempt: int, purpose: int) -> float:
    """A number strictly between 0 and 1, exact to 2**-53, as is 1 minus it."""
    bits = mix(job + step + np.uint64(attempt) * TRY + np.uint64(purpose) * PURPOSE)
    return (np.float64(bits >> TOP) + 0.5) * 2.220446049250313e-16


@helper
def triangular(low: float, mode: float, high: float, survival: float) -> float:
    """The minutes of a triangular time exceeded with probability `survival`."""
    upper = survival * (high - low) <= high - mode
    share = survival if upper else 1.0 - survival
    root = math.sqrt(share * (high - low) * ((high - mode) if upper else (mode - low)))
    return high - root if upper else low + root


@kernel
def from_survival(kind: int, a: float, b: float, c: float, survival: float) -> float:
    """The minutes exceeded with probability `survival`, for the kinds that have a formula."""
    if kind == EXPONENTIAL:
        return -a * math.log(survival)
    if kind == LOGNORMAL:
        return a * math.exp(b * (normal_upper(survival) - 0.5 * b))
    if kind == GAMMA:
        return a * gamma_upper(b, survival) / b
    if kind == UNIFORM:
        return b - survival * (b - a)
    if kind == TRIANGULAR:
        return triangular(a, b, c, survival)
    return a


@kernel
def survival_of(kind: int, a: float, b: float, c: float, x: float) -> float:
    """P(X >= x) for the kinds that have a formula."""
    if kind == FIXED:
        return 1.0 if x <= a else 0.0
    if x <= 0.0:
        return 1.0
    if kind == EXPONENTIAL:
        return math.exp(-x / a)
    if kind == LOGNORMAL:
        return 0.5 * math.erfc((math.log(x / a) / b + 0.5 * b) * math.sqrt(0.5))
    if kind == GAMMA:
        return gamma_survival(b, x * b / a)
    if kind == UNIFORM:
        return min(max((b - x) / (b - a), 0.0), 1.0)
    if x <= a or x >= c:
        return 1.0 if x <= a else 0.0
    return 1.0 - (x - a) ** 2 / ((c - a) * (b - a)) if x < b else (c - x) ** 2 / ((c - a) * (c - b))


@kernel
def fill_table(kind: int, b: float, table: NDArray[np.float64]) -> None:
    """Fill (CELLS, 2): in each cell of survival, a line at + slope * fraction with the exact mean (4-point Gauss)."""
    nodes = (0.06943184420297371, 0.33000947820757187, 0.6699905217924281, 0.9305681557970263)
    weights = (0.17392742256872692, 0.32607257743127307, 0.32607257743127307, 0.17392742256872692)
    for cell in range(1, CELLS - 1):
        begin = from_survival(kind, 1.0, b, 0.0, cell / CELLS)
        end = from_survival(kind, 1.0, b, 0.0, (cell + 1) / CELLS)
        mean = 0.0
        for k in range(4):
            mean += weights[k] * from_survival(kind, 1.0, b, 0.0, (cell + nodes[k]) / CELLS)
        table[cell, 0] = mean - 0.5 * (end - begin)
        table[cell, 1] = end - begin


@lru_cache(maxsize=512)
def table_of(kind: int, b: float) -> NDArray[np.float64]:
    """The table of a smooth distribution of mean 1 (read only)."""
    table = np.zeros((CELLS, 2))
    fill_table(kind, b, table)
    table.flags.writeable = False
    return table


@rare
def computed_minutes(s: State, index: int, u: float) -> float:
    """Minutes without a table: outer cells, the rest of a running step, empirical times."""
    dist = dist_at(s, index)
    survival = u * dist.survival
    if dist.kind == EMPIRICAL:
        place = dist.count - 1 - int(survival * dist.count)
        found = pool_at(s, dist.first + min(max(place, 0), dist.count - 1)).value
    elif dist.kind == EXPONENTIAL and dist.elapsed > 0.0:
        return float(-dist.a * math.log(u))
    else:
        found = from_survival(dist.kind, dist.a, dist.b, dist.c, max(survival, 1e-300))
    return float(max(found - dist.elapsed, 0.0))


@rare
def mixture_minutes(s: State, index: int, u: float) -> float:
    """Minutes of a mixture: u chooses the part, and what is left of it the time."""
    dist = dist_at(s, index)
    part = 0
    low = 0.0
    while part < dist.count - 1 and u >= pool_at(s, dist.first + part).value:
        low = pool_at(s, dist.first + part).value
        part += 1
    inner = (u - low) / (pool_at(s, dist.first + part).value - low)
    return computed_minutes(s, index + 1 + part, min(max(inner, 1e-16), 1.0 - 1e-16))


@helper
def minutes_of(s: State, index: int, u: float) -> float:
    """The minutes that distribution `index` gives for the uniform number u (small u: long)."""
    dist = dist_at(s, index)
    if dist.table >= 0:
        place = u * CELLS
        number = int(place)
        if 0 < number < CELLS - 1:
            cell = cell_at(s, dist.table + number)
            return float(dist.a * (cell.at + cell.slope * (place - number)))
    elif dist.elapsed == 0.0:
        if dist.kind == FIXED:
            return float(dist.a)
        if dist.kind == TRIANGULAR:
            return triangular(dist.a, dist.b, dist.c, u)
        if dist.kind == MIXTURE:
            return mixture_minutes(s, index, u)
    elif dist.kind == MIXTURE:
        return mixture_minutes(s, index, u)
    return computed_minutes(s, index, u)


@helper
def ticks(minutes: float) -> int:
    """Minutes as whole microseconds, at most 2**59."""
    return int(min(minutes * 60e6 + 0.5, 5.7e17))


@helper
def draw_work(s: State, step: int, dist: int, attempt: int) -> int:
    """The microseconds of a try of a step, drawn from a distribution."""
    x = step_at(s, step)
    u = uniform(job_at(s, x.job).key, op_at(s, x.op).key, attempt, TIME)
    return ticks(minutes_of(s, dist, u))
