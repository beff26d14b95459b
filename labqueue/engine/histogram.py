"""A histogram of times with bins that widen with the time, for 95 % points of very many values."""

import numpy as np
from numpy.typing import NDArray

from labqueue.engine.jit import bit_length, helper

UNIT_BITS = 16
"""A unit is 2**UNIT_BITS microseconds, 66 ms."""
SUB_BITS = 7
"""Each octave has 2**SUB_BITS bins: a bin is at most 0.8 % wide."""


@helper
def bin_of(value: int) -> int:
    """The bin of a number of microseconds: one for each unit in the first two octaves, then wider."""
    units = value >> UNIT_BITS
    octave = max(bit_length(units) - SUB_BITS - 1, 0)
    return int((octave << SUB_BITS) + (units >> octave))


def bin_number(value: int) -> int:
    """`bin_of` for the interpreter."""
    octave = max((value >> UNIT_BITS).bit_length() - SUB_BITS - 1, 0)
    return (octave << SUB_BITS) + (value >> UNIT_BITS >> octave)


def bin_starts(bins: int) -> NDArray[np.float64]:
    """The microseconds at which bins 0 … `bins` begin."""
    number = np.arange(bins + 1)
    octave = np.maximum((number >> SUB_BITS) - 1, 0)
    units: NDArray[np.int64] = (number - (octave << SUB_BITS)) << octave
    return units.astype(np.float64) * 2.0**UNIT_BITS


def quantile_of_counts(counts: NDArray[np.int64], share: float) -> float | None:
    """The quantile of binned microseconds, linear within the bin; None where nothing was counted."""
    total = int(counts.sum())
    if total == 0:
        return None
    place = share * (total - 1)
    before = np.concatenate([[0], np.cumsum(counts)])
    found = int(np.searchsorted(before, place, side="right")) - 1
    starts = bin_starts(len(counts))
    inside = (place - before[found] + 0.5) / counts[found] if found else 0.0
    return float(starts[found] + min(inside, 1.0) * (starts[found + 1] - starts[found]))
