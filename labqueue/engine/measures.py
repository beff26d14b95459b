"""Statistics of a simulation: quantiles, shares and means, each with its 95 % interval."""

import math
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from labqueue.engine.state import NEVER

Z95 = NormalDist().inv_cdf(0.975)
Interval = list[float]


def wilson(count: int, total: int) -> Interval:
    """The 95 % interval of a share `count` / `total` (Wilson 1927)."""
    share = count / total
    spread = Z95 * Z95 / total
    middle = (share + spread / 2) / (1 + spread)
    half = math.sqrt(share * (1 - share) * spread + spread * spread / 4) / (1 + spread)
    return [max(middle - half, 0.0), min(middle + half, 1.0)]


def student_95(freedom: int) -> float:
    """The 97.5 % point of Student's t: exact for 1 and 2, else by Cornish and Fisher's expansion (good to 1e-3)."""
    if freedom == 1:
        return 12.706204736432095
    if freedom == 2:
        return 4.302652729696142
    z, v = Z95, float(freedom)
    terms = [
        z,
        (z**3 + z) / 4,
        (5 * z**5 + 16 * z**3 + 3 * z) / 96,
        (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384,
        (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / 92160,
    ]
    return sum(term / v**power for power, term in enumerate(terms))


def mean_and_interval(sums: NDArray[Any], counts: NDArray[Any]) -> tuple[float | None, Interval | None]:
    """The mean of all values together and its 95 % interval, from the sum and count of each independent part.

    The interval is that of a ratio estimator: the parts differ in their counts.
    """
    total = int(counts.sum())
    if total == 0:
        return None, None
    mean = int(sums.sum()) / total
    n = sums.size
    if n < 2:
        return mean, None
    errors = sums.ravel() - mean * counts.ravel()
    half = student_95(n - 1) * math.sqrt(float(np.sum(errors * errors)) / (n - 1) / n) / (total / n)
    return mean, [mean - half, mean + half]


def row_quantile(ascending: NDArray[np.int64], share: float) -> NDArray[np.float64]:
    """The quantile of each sorted row, linear between order statistics; infinite where it touches NEVER."""
    place = share * (ascending.shape[1] - 1)
    low = math.floor(place)
    part = place - low
    below = ascending[:, low]
    above = ascending[:, math.ceil(place)]
    found = below + part * (above - below)
    return np.where(above >= NEVER, np.inf, found)


def quantile(values: NDArray[np.int64], share: float) -> float | None:
    """The quantile of values, linear between order statistics; None of nothing."""
    return float(np.quantile(values, share)) if len(values) else None
