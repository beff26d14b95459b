"""Intervals and quantiles, against known values and scipy."""

import numpy as np
import pytest
from scipy import stats

from labqueue.engine import Shop, plan, simulate
from labqueue.engine.histogram import bin_number, bin_starts, quantile_of_counts
from labqueue.engine.measures import mean_and_interval, quantile, row_quantile, student_95, wilson
from labqueue.engine.state import NEVER
from tests.engine.test_theory import queue


def test_wilson() -> None:
    found = stats.binomtest(83, 1000).proportion_ci(method="wilson")
    assert wilson(83, 1000) == pytest.approx([found.low, found.high])
    assert wilson(0, 10)[0] == 0.0
    assert wilson(10, 10)[1] == pytest.approx(1.0)


@pytest.mark.parametrize(("freedom", "error"), [(1, 1e-9), (2, 1e-9), (3, 0.02), (5, 2e-3), (9, 1e-4), (99, 1e-7)])
def test_student(freedom: int, error: float) -> None:
    assert student_95(freedom) == pytest.approx(stats.t.ppf(0.975, freedom), abs=error)


def test_mean_of_parts_of_equal_counts_is_the_usual_interval() -> None:
    values = np.array([3, 5, 4, 8, 6, 7, 2, 9, 5, 5, 6])
    mean, interval = mean_and_interval(values, np.ones(11, dtype=np.int64))
    half = stats.t.ppf(0.975, 10) * values.std(ddof=1) / np.sqrt(11)
    assert mean == pytest.approx(values.mean())
    assert interval == pytest.approx([values.mean() - half, values.mean() + half], abs=1e-4)


def test_mean_of_nothing_and_of_one_part() -> None:
    assert mean_and_interval(np.zeros(3, dtype=int), np.zeros(3, dtype=int)) == (None, None)
    assert mean_and_interval(np.array([6]), np.array([2])) == (3.0, None)


def test_row_quantiles_are_linear_and_infinite_where_they_touch_the_unfinished() -> None:
    rows = np.array([[10, 20, 30, 40, 50], [10, 20, 30, 40, NEVER]])
    assert row_quantile(rows, 0.5).tolist() == [30, 30]
    assert row_quantile(rows, 0.75).tolist() == [40, 40]
    assert row_quantile(rows, 0.8).tolist() == [42, np.inf]
    assert quantile(rows[0], 0.95) == 48
    assert quantile(rows[0][:0], 0.5) is None


@pytest.mark.parametrize("value", [0, 1, 65_536, 10**7, 16_777_215, 16_777_216, 3 * 10**9, 10**13])
def test_every_value_lies_in_its_bin(value: int) -> None:
    number = bin_number(value)
    starts = bin_starts(number + 1)
    assert starts[number] <= value < starts[number + 1]
    assert starts[number + 1] - starts[number] <= max(2**16, value / 125)


def test_a_quantile_of_counts_is_close_to_that_of_the_values() -> None:
    values = np.random.default_rng(1).exponential(1e9, 100_000).astype(np.int64)
    counts = np.bincount([bin_number(int(value)) for value in values])
    assert quantile_of_counts(counts, 0.95) == pytest.approx(np.quantile(values, 0.95), rel=1e-3)
    assert quantile_of_counts(counts * 0, 0.95) is None


def test_the_histogram_and_the_log_agree(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where there are too many waits to keep, all figures stay the same but the 95 % points, which come close."""
    shop = Shop.from_dict(queue({"exponential": {"mean": 8}}))
    kept = simulate(shop, 20, seed=2)
    monkeypatch.setattr(plan, "MOST_LOGGED", 1000)
    counted = simulate(shop, 20, seed=2)
    for one, other, name in (
        (kept.stations[0], counted.stations[0], "wait_p95"),
        (kept.arrivals[0], counted.arrivals[0], "flow_p95"),
    ):
        assert one | {name: None} == other | {name: None}
        assert one[name] == pytest.approx(other[name], rel=2e-3)
        assert one[name] != other[name]
