"""The quantile functions and the hashed numbers, against scipy."""

import math
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import special, stats

from labqueue.engine import Shop, simulate
from labqueue.engine.distributions import read_distribution
from labqueue.engine.draws import CELLS, KINDS, from_survival, survival_of, table_of
from tests.engine.shops import document, job, step

TAILS = [1e-300, 1e-100, 1e-30, 1e-12, 1e-6, 1e-3, 0.01, 0.2, 0.5, 0.8, 0.99, 0.999999]


@pytest.mark.parametrize("s", TAILS)
@pytest.mark.parametrize("sigma", [0.1, 0.5, 1.5])
def test_lognormal_quantiles(s: float, sigma: float) -> None:
    found = from_survival(KINDS.index("lognormal"), 14.0, sigma, 0.0, s)
    theory = 14.0 * math.exp(-sigma * special.ndtri(s) - sigma * sigma / 2)
    assert found == pytest.approx(theory, rel=1e-12)
    assert survival_of(KINDS.index("lognormal"), 14.0, sigma, 0.0, found) == pytest.approx(s, rel=1e-9)


@pytest.mark.parametrize("s", TAILS[1:])
@pytest.mark.parametrize("shape", [0.05, 0.5, 1.0, 2.0, 4.0, 37.5, 1000.0])
def test_gamma_quantiles(s: float, shape: float) -> None:
    found = from_survival(KINDS.index("gamma"), 14.0, shape, 0.0, s)
    assert found == pytest.approx(14.0 / shape * special.gammainccinv(shape, s), rel=1e-7)
    assert survival_of(KINDS.index("gamma"), 14.0, shape, 0.0, found) == pytest.approx(s, rel=1e-8)


@pytest.mark.parametrize("s", [0.001, 0.3, 0.5, 0.9])
def test_triangular_uniform_and_exponential_quantiles(s: float) -> None:
    triangular = stats.triang(c=0.25, loc=2, scale=8)
    assert from_survival(KINDS.index("triangular"), 2.0, 4.0, 10.0, s) == pytest.approx(triangular.isf(s))
    assert survival_of(KINDS.index("triangular"), 2.0, 4.0, 10.0, triangular.isf(s)) == pytest.approx(s)
    assert from_survival(KINDS.index("uniform"), 2.0, 4.0, 0.0, s) == pytest.approx(4 - 2 * s)
    assert survival_of(KINDS.index("uniform"), 2.0, 4.0, 0.0, 4 - 2 * s) == pytest.approx(s)
    assert from_survival(KINDS.index("exponential"), 5.0, 0.0, 0.0, s) == pytest.approx(-5 * math.log(s))


@pytest.mark.parametrize(
    ("kind", "b", "sd"),
    [
        ("exponential", 0.0, 1.0),
        ("gamma", 4.0, 0.5),
        ("gamma", 0.5, 2**0.5),
        ("lognormal", 0.5, math.sqrt(math.expm1(0.25))),
    ],
)
def test_tables_have_the_exact_mean_and_deviation(kind: str, b: float, sd: float) -> None:
    """The mean over the inner cells plus the two outer ones, integrated by scipy, is 1 to 1e-9."""
    table = table_of(KINDS.index(kind), b)
    law = {
        "exponential": stats.expon(),
        "gamma": stats.gamma(b or 1, scale=1 / (b or 1)),
        "lognormal": stats.lognorm(b or 1, scale=math.exp(-b * b / 2)),
    }[kind]
    inner = table[1:-1]
    low, high = law.isf((CELLS - 1) / CELLS), law.isf(1 / CELLS)
    outside = law.expect(lambda x: x, lb=law.support()[0], ub=low) + law.expect(lambda x: x, lb=high, ub=np.inf)
    assert (inner[:, 0] + inner[:, 1] / 2).mean() * (CELLS - 2) / CELLS + outside == pytest.approx(1, abs=2e-7)
    squares = (inner[:, 0] ** 2 + inner[:, 0] * inner[:, 1] + inner[:, 1] ** 2 / 3).mean() * (CELLS - 2) / CELLS
    tails = law.expect(lambda x: x * x, lb=law.support()[0], ub=low) + law.expect(lambda x: x * x, lb=high, ub=np.inf)
    assert math.sqrt(squares + tails - 1) == pytest.approx(sd, rel=2e-5)


def sample(minutes: Any, replications: int = 20_000) -> NDArray[np.float64]:
    """The times of one step over many replications."""
    doc = document(routes={"r": [step("work", "bench", minutes)]}, jobs=[job("1")], horizon_minutes=1e7)
    times: NDArray[np.float64] = simulate(Shop.from_dict(doc), replications, seed=23).completions[0]
    return times


@pytest.mark.parametrize(
    ("minutes", "law"),
    [
        ({"exponential": {"mean": 30}}, stats.expon(scale=30)),
        ({"erlang": {"mean": 30, "k": 3}}, stats.gamma(3, scale=10)),
        ({"gamma": {"mean": 30, "sd": 60}}, stats.gamma(0.25, scale=120)),
        ({"lognormal": {"mean": 30, "sd": 15}}, stats.lognorm(0.47238, scale=30 / math.sqrt(1.25))),
        ({"triangular": [10, 20, 50]}, stats.triang(c=0.25, loc=10, scale=40)),
        ({"uniform": [10, 30]}, stats.uniform(loc=10, scale=20)),
    ],
)
def test_samples_follow_their_law(minutes: Any, law: Any) -> None:
    assert stats.kstest(sample(minutes), law.cdf).pvalue > 1e-3


def test_samples_of_discrete_laws() -> None:
    values, counts = np.unique(sample({"empirical": [1, 5, 5, 9]}), return_counts=True)
    assert values.tolist() == [1, 5, 9]
    assert stats.chisquare(counts, [5000, 10_000, 5000]).pvalue > 1e-3
    values, counts = np.unique(sample({"mixture": [[3, 2], [1, 7]]}), return_counts=True)
    assert values.tolist() == [2, 7]
    assert stats.chisquare(counts, [15_000, 5000]).pvalue > 1e-3


def test_means_of_distributions() -> None:
    mixture = {"mixture": [[1, {"mixture": [[1, 10], [1, 20]]}], [3, {"triangular": [0, 3, 6]}]]}
    assert read_distribution(mixture, "").mean == pytest.approx(15 / 4 + 9 / 4)
    assert read_distribution({"empirical": [1, 2, 6]}, "").mean == 3
    assert read_distribution({"erlang": {"mean": 4, "k": 2}}, "").mean == 4
    assert read_distribution(7, "").mean == 7


def test_steps_of_one_job_and_jobs_of_one_shop_are_independent() -> None:
    minutes = {"exponential": {"mean": 1}}
    doc = document(
        routes={"r": [step("a", None, minutes), step("b", None, minutes, after=[])], "s": [step("a", None, minutes)]},
        jobs=[job("1", "s"), job("2", "s"), job("3", "r")],
    )
    rows = simulate(Shop.from_dict(doc), 20_000).completions
    assert np.abs(np.atleast_2d(np.corrcoef(rows))[np.triu_indices(3, 1)]).max() < 4 / math.sqrt(20_000)
    # the greater of two independent exponential times has the mean 1.5 and the variance 1.25
    assert rows[2].mean() == pytest.approx(1.5, abs=4 * math.sqrt(1.25 / 20_000))
