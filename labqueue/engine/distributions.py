"""Probability distributions of a duration in minutes, as the shop file states them."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from labqueue.engine.reading import listing, mapping, minutes, number, refuse, whole


@dataclass(frozen=True)
class Distribution:
    """A distribution of minutes: `kind` says how `numbers` (and for a mixture `parts`) are to be read.

    fixed (m) · exponential (mean) · gamma (mean, shape) · lognormal (mean, sigma of the logarithm) ·
    triangular (low, mode, high) · uniform (low, high) · empirical (values, ascending) ·
    mixture (weights that add up to 1, one for each part, none of them a mixture).
    """

    kind: str
    numbers: tuple[float, ...]
    parts: tuple["Distribution", ...] = ()

    @property
    def mean(self) -> float:
        """The mean in minutes."""
        if self.kind == "mixture":
            return sum(weight * part.mean for weight, part in zip(self.numbers, self.parts, strict=True))
        if self.kind in ("triangular", "uniform", "empirical"):
            return math.fsum(self.numbers) / len(self.numbers)
        return self.numbers[0]


def fixed(value: float) -> Distribution:
    """The distribution that always gives `value` minutes."""
    return Distribution("fixed", (value,))


def read_distribution(value: object, place: str) -> Distribution:
    """Read a bare number or `{kind: parameters}`.

    Raises:
        ShopError: an unknown kind or impossible parameters, with the place.
    """
    if not isinstance(value, dict):
        return fixed(minutes(value, place))
    if len(value) != 1:
        refuse(place, f"must name exactly one distribution of {', '.join(_READERS)}")
    kind = next(iter(value))
    if kind not in _READERS:
        refuse(place, f'no distribution "{kind}"; known are {", ".join(_READERS)}')
    return _READERS[kind](value[kind], f"{place}.{kind}")


def _fixed(value: object, place: str) -> Distribution:
    return fixed(minutes(value, place))


def _exponential(value: object, place: str) -> Distribution:
    given = mapping(value, place, known=["mean"], needs=["mean"])
    return Distribution("exponential", (minutes(given["mean"], f"{place}.mean", above=0),))


def _erlang(value: object, place: str) -> Distribution:
    given = mapping(value, place, known=["mean", "k"], needs=["mean", "k"])
    mean = minutes(given["mean"], f"{place}.mean", above=0)
    phases = whole(given["k"], f"{place}.k", least=1, most=10**6)
    return Distribution("exponential", (mean,)) if phases == 1 else Distribution("gamma", (mean, float(phases)))


def _mean_and_sd(value: object, place: str) -> tuple[float, float]:
    given: dict[str, Any] = mapping(value, place, known=["mean", "sd"], needs=["mean", "sd"])
    return minutes(given["mean"], f"{place}.mean", above=0), minutes(given["sd"], f"{place}.sd")


def _lognormal(value: object, place: str) -> Distribution:
    mean, sd = _mean_and_sd(value, place)
    if sd > 1e6 * mean:
        refuse(place, "the standard deviation must be at most 1000000 times the mean")
    sigma = math.sqrt(math.log1p((sd / mean) ** 2))
    return Distribution("lognormal", (mean, sigma)) if sigma > 0 else fixed(mean)


def _gamma(value: object, place: str) -> Distribution:
    mean, sd = _mean_and_sd(value, place)
    if sd == 0:
        return fixed(mean)
    shape = (mean / sd) * (mean / sd)
    if not 1e-3 <= shape <= 1e9:
        refuse(place, "the standard deviation must lie between 1/30000 and 30 times the mean")
    return Distribution("gamma", (mean, shape))


def _ascending(value: object, place: str, count: int, words: str) -> tuple[float, ...]:
    items = listing(value, place)
    if len(items) != count:
        refuse(place, f"must be {words}")
    found = tuple(minutes(item, f"{place}[{i}]") for i, item in enumerate(items))
    if list(found) != sorted(found):
        refuse(place, f"must be {words}, in ascending order")
    return found


def _triangular(value: object, place: str) -> Distribution:
    found = _ascending(value, place, 3, "[low, mode, high]")
    return fixed(found[0]) if found[0] == found[2] else Distribution("triangular", found)


def _uniform(value: object, place: str) -> Distribution:
    found = _ascending(value, place, 2, "[low, high]")
    return fixed(found[0]) if found[0] == found[1] else Distribution("uniform", found)


def _empirical(value: object, place: str) -> Distribution:
    items = listing(value, place)
    if not items:
        refuse(place, "must list at least one observed time")
    return Distribution("empirical", tuple(sorted(minutes(item, f"{place}[{i}]") for i, item in enumerate(items))))


def _mixture(value: object, place: str) -> Distribution:
    weighted: list[tuple[float, Distribution]] = []
    for i, item in enumerate(listing(value, place)):
        pair = listing(item, f"{place}[{i}]")
        if len(pair) != 2:
            refuse(f"{place}[{i}]", "must be [weight, distribution]")
        weight = number(pair[0], f"{place}[{i}][0]", least=0)
        try:
            part = read_distribution(pair[1], f"{place}[{i}][1]")
        except RecursionError:
            refuse(place, "is nested too deeply")
        inner = zip(part.numbers, part.parts, strict=True) if part.parts else [(1.0, part)]
        weighted += [(weight * share, piece) for share, piece in inner]
    total = math.fsum(weight for weight, _ in weighted)
    if total <= 0:
        refuse(place, "needs at least one part of a weight above 0")
    kept = [(weight / total, part) for weight, part in weighted if weight > 0]
    return Distribution("mixture", tuple(weight for weight, _ in kept), tuple(part for _, part in kept))


_READERS: dict[str, Callable[[object, str], Distribution]] = {
    "fixed": _fixed,
    "exponential": _exponential,
    "erlang": _erlang,
    "lognormal": _lognormal,
    "gamma": _gamma,
    "triangular": _triangular,
    "uniform": _uniform,
    "empirical": _empirical,
    "mixture": _mixture,
}
