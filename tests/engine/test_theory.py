"""The engine against queueing theory; each row prints its deviation in standard errors."""

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

import pytest

from labqueue.engine import Forecast, Shop, simulate
from labqueue.engine.measures import student_95
from tests.engine.deviations import report
from tests.engine.shops import Document, document, job, step

BETWEEN = 10.0
REPLICATIONS = 100
NORMAL = NormalDist()


def queue(minutes: Any, servers: int = 1, **more: Any) -> Document:
    """Poisson arrivals, 10 minutes apart, at one station."""
    return document(
        horizon_minutes=40_000,
        warm_up_minutes=4_000,
        resources={"hand": {"stations": ["bench"], "calendar": "always", "count": servers}},
        routes={"r": [step("work", "bench", minutes, **more)]},
        arrivals=[{"route": "r", "calendar": "always", "between_minutes": {"exponential": {"mean": BETWEEN}}}],
    )


def erlang_c_wait(servers: int, service: float) -> float:
    """Mean wait of M/M/c."""
    load = service / BETWEEN
    last = load**servers / math.factorial(servers) / (1 - load / servers)
    delayed = last / (sum(load**k / math.factorial(k) for k in range(servers)) + last)
    return delayed * service / (servers - load)


def pollaczek_khinchine(mean: float, sd: float) -> float:
    """Mean wait of M/G/1."""
    return (mean**2 + sd**2) / BETWEEN / 2 / (1 - mean / BETWEEN)


def bulk_wait(service: float, most: int) -> float:
    """Mean wait of a server that takes all that wait, at most `most`, for one exponential time (Medhi 1984).

    While it is busy, n wait with a probability that falls as r**n, r the root in (0, 1) of
    mu r**(most + 1) - (lambda + mu) r + lambda = 0; it is idle with probability mu / lambda times that of n = 0.
    """
    rate, mu = 1 / BETWEEN, 1 / service
    low, high = 0.0, 1.0 - 1e-9
    for _ in range(200):
        r = (low + high) / 2
        low, high = (r, high) if mu * r ** (most + 1) - (rate + mu) * r + rate > 0 else (low, r)
    first = 1 / (1 / (1 - r) + mu / rate)
    return first * r / (1 - r) ** 2 / rate


def z_of(mean: float, interval: list[float], theory: float, parts: int = REPLICATIONS) -> float:
    """The deviation in standard errors."""
    error = (interval[1] - interval[0]) / 2 / student_95(parts - 1)
    return (mean - theory) / error


def run(doc: Document, seed: int = 11) -> Forecast:
    return simulate(Shop.from_dict(doc), REPLICATIONS, seed)


@dataclass(frozen=True)
class Row:
    """A station, and the mean wait that theory gives for it."""

    name: str
    doc: Document
    wait: float


def bulk(service: float, most: int) -> Document:
    doc = queue({"exponential": {"mean": service}})
    doc["resources"]["hand"]["load"] = {"capacity": most}
    return doc


ROWS = [
    Row("M/M/1 rho .5", queue({"exponential": {"mean": 5}}), erlang_c_wait(1, 5)),
    Row("M/M/1 rho .8", queue({"exponential": {"mean": 8}}), erlang_c_wait(1, 8)),
    Row("M/M/3 rho .8 (Erlang C)", queue({"exponential": {"mean": 24}}, 3), erlang_c_wait(3, 24)),
    Row("M/M/10 rho .9 (Erlang C)", queue({"exponential": {"mean": 90}}, 10), erlang_c_wait(10, 90)),
    Row("M/D/1 rho .8", queue(8), pollaczek_khinchine(8, 0)),
    Row("M/G/1 lognormal rho .8", queue({"lognormal": {"mean": 8, "sd": 4}}), pollaczek_khinchine(8, 4)),
    Row("M/G/1 lognormal cv 1.5", queue({"lognormal": {"mean": 5, "sd": 7.5}}), pollaczek_khinchine(5, 7.5)),
    Row("M/G/1 gamma cv 1.2", queue({"gamma": {"mean": 5, "sd": 6}}), pollaczek_khinchine(5, 6)),
    Row("M/E4/1 rho .8", queue({"erlang": {"mean": 8, "k": 4}}), pollaczek_khinchine(8, 4)),
    Row("M/G/1 triangular", queue({"triangular": [2, 5, 11]}), pollaczek_khinchine(6, math.sqrt(63 / 18))),
    Row("M/G/1 uniform", queue({"uniform": [4, 12]}), pollaczek_khinchine(8, 8 / math.sqrt(12))),
    Row("M/G/1 empirical", queue({"empirical": [2, 2, 11]}), pollaczek_khinchine(5, math.sqrt(18))),
    Row(
        "M/G/1 mixture (hyperexponential)",
        queue({"mixture": [[0.9, {"exponential": {"mean": 4}}], [0.1, {"exponential": {"mean": 24}}]]}),
        pollaczek_khinchine(6, math.sqrt(0.9 * 32 + 0.1 * 1152 - 36)),
    ),
    Row("M/M(1,4)/1 bulk service", bulk(30, 4), bulk_wait(30, 4)),
    Row("M/M(1,2)/1 bulk service", bulk(16, 2), bulk_wait(16, 2)),
]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_mean_wait_at_a_station(row: Row) -> None:
    station = run(row.doc, seed=sum(map(ord, row.name))).stations[0]
    z = z_of(station["wait_mean"], station["wait_ci"], row.wait)
    report(row.name, station["wait_mean"], row.wait, z)
    assert abs(z) < 4
    # Little's law, exactly up to what stands at the two ends of the measured time
    assert station["queue_mean"] == pytest.approx(station["wait_mean"] * station["started"] / 36_000, rel=0.03)


def test_figures_of_a_single_server() -> None:
    """M/M/1: utilisation rho, flow exponential with mean 40; its 95 % point is 40 ln 20."""
    forecast = run(queue({"exponential": {"mean": 8}}))
    station, flow = forecast.stations[0], forecast.arrivals[0]
    z = z_of(flow["flow_mean"], flow["flow_ci"], 40)
    report("M/M/1 flow", flow["flow_mean"], 40, z)
    assert abs(z) < 4
    assert station["utilisation"] == pytest.approx(0.8, rel=0.01)
    assert forecast.resources[0]["utilisation"] == station["utilisation"]
    assert flow["flow_p95"] == pytest.approx(40 * math.log(20), rel=0.03)
    assert flow["finished"] == pytest.approx(3600, rel=0.01)


def test_batch_means_where_there_are_few_replications() -> None:
    doc = queue({"exponential": {"mean": 5}}) | {"horizon_minutes": 1_000_000}
    station = simulate(Shop.from_dict(doc), 4, seed=3).stations[0]
    z = z_of(station["wait_mean"], station["wait_ci"], 5.0, parts=80)
    report("M/M/1 by batch means", station["wait_mean"], 5.0, z)
    assert abs(z) < 4
    assert station["wait_ci"][1] - station["wait_ci"][0] < 0.5


def test_open_tandem_network() -> None:
    """Jackson: each station behaves like its own M/M/c."""
    doc = queue({"exponential": {"mean": 8}}) | {
        "stations": {"bench": {}, "second": {}, "third": {}},
        "routes": {
            "r": [
                step("one", "bench", {"exponential": {"mean": 8}}),
                step("two", "second", {"exponential": {"mean": 6}}),
                step("three", "third", {"exponential": {"mean": 15}}),
            ]
        },
    }
    doc["resources"] |= {
        "second": {"stations": ["second"], "calendar": "always"},
        "third": {"stations": ["third"], "calendar": "always", "count": 2},
    }
    theory = 29 + erlang_c_wait(1, 8) + erlang_c_wait(1, 6) + erlang_c_wait(2, 15)
    flow = run(doc).arrivals[0]
    z = z_of(flow["flow_mean"], flow["flow_ci"], theory)
    report("tandem 1-1-2 (Jackson)", flow["flow_mean"], theory, z)
    assert abs(z) < 4


def test_feedback() -> None:
    """A quarter fails and goes back: the station sees 4/3 of the arrivals, and each job comes 4/3 times."""
    doc = queue({"exponential": {"mean": 6}}, fail={"probability": 0.25, "back_to": "work"})
    theory = 4 / 3 / (1 / 6 - 4 / 3 / BETWEEN)
    flow = run(doc).arrivals[0]
    z = z_of(flow["flow_mean"], flow["flow_ci"], theory)
    report("M/M/1 with feedback .25", flow["flow_mean"], theory, z)
    assert abs(z) < 4


def test_open_network_with_feedback() -> None:
    """Jackson: a fifth goes from the second station (two servers) back to the first; both see 5/4 of the arrivals."""
    doc = queue({"exponential": {"mean": 6}}) | {
        "stations": {"bench": {}, "second": {}},
        "routes": {
            "r": [
                step("one", "bench", {"exponential": {"mean": 6}}),
                step("two", "second", {"exponential": {"mean": 11}}, fail={"probability": 0.2, "back_to": "one"}),
            ]
        },
    }
    doc["resources"]["second"] = {"stations": ["second"], "calendar": "always", "count": 2}
    rate = 1.25 / BETWEEN
    load = 11 * rate
    waiting = load**3 / (4 - load**2)
    theory = (6 * rate / (1 - 6 * rate) + load + waiting) * BETWEEN
    flow = run(doc).arrivals[0]
    z = z_of(flow["flow_mean"], flow["flow_ci"], theory)
    report("open network with feedback (Jackson)", flow["flow_mean"], theory, z)
    assert abs(z) < 4


def test_machine_repair() -> None:
    """Eight machines run 100 minutes and are repaired in 10 by one fitter, for ever: a closed network."""
    doc = document(
        horizon_minutes=40_000,
        warm_up_minutes=2_000,
        routes={
            "r": [
                step("run", None, {"exponential": {"mean": 100}}),
                step(
                    "repair", "bench", {"exponential": {"mean": 10}}, fail={"probability": 1 - 1e-12, "back_to": "run"}
                ),
            ]
        },
        jobs=[job(str(i)) for i in range(8)],
    )
    down = [math.factorial(8) / math.factorial(8 - n) / 10**n for n in range(9)]
    waiting = sum((n - 1) * p for n, p in enumerate(down) if n) / sum(down)
    busy = 1 - 1 / sum(down)
    theory = waiting / (busy / 10)
    station = run(doc).stations[0]
    z = z_of(station["wait_mean"], station["wait_ci"], theory)
    report("machine repair 8 machines", station["wait_mean"], theory, z)
    assert abs(z) < 4
    assert station["utilisation"] == pytest.approx(busy, rel=0.01)


def mean_finish(doc: Document, name: str, theory: float, replications: int = 20_000) -> None:
    """Compare the mean of the first job's completions with theory."""
    minutes = simulate(Shop.from_dict(doc), replications, seed=sum(map(ord, name))).completions[0]
    z = (minutes.mean() - theory) / (minutes.std() / math.sqrt(replications))
    report(name, float(minutes.mean()), theory, float(z))
    assert abs(z) < 4


def test_max_of_parallel_steps() -> None:
    """E max of exponentials of means 20 and 30: 20 + 30 - 1 / (1/20 + 1/30) = 38."""
    steps = [
        step("a", None, {"exponential": {"mean": 20}}, after=[]),
        step("b", None, {"exponential": {"mean": 30}}, after=[]),
        step("join", None, 0, after=["a", "b"]),
    ]
    mean_finish(document(routes={"r": steps}, jobs=[job("1")]), "max of two exponentials", 38.0)


@pytest.mark.parametrize("elapsed", [1, 20, 59])
def test_rest_of_a_running_lognormal_step(elapsed: int) -> None:
    """E(X - a | X > a) = mean * P(Z > z - s) / P(Z > z) - a with z = (log a - mu) / s."""
    mean, sd = 14.0, 6.0
    s = math.sqrt(math.log1p((sd / mean) ** 2))
    z = (math.log(elapsed) - math.log(mean) + s * s / 2) / s
    theory = mean * NORMAL.cdf(s - z) / NORMAL.cdf(-z) - elapsed
    since = f"2026-03-02T07:{60 - elapsed:02d}:00+00:00"
    doc = document(
        routes={"r": [step("work", "bench", {"lognormal": {"mean": mean, "sd": sd}})]},
        jobs=[job("1", running={"step": "work", "since": since})],
    )
    mean_finish(doc, f"rest of a lognormal after {elapsed}", theory)


@pytest.mark.parametrize("elapsed", [5, 30])
def test_rest_of_a_running_erlang_step(elapsed: int) -> None:
    """Erlang of 2 phases of mean 7: after a minutes the first phase is still on with odds 1 to a/7."""
    theory = 7 * (1 + 1 / (1 + elapsed / 7))
    doc = document(
        routes={"r": [step("work", "bench", {"erlang": {"mean": 14, "k": 2}})]},
        jobs=[job("1", running={"step": "work", "since": f"2026-03-02T07:{60 - elapsed}:00+00:00"})],
    )
    mean_finish(doc, f"rest of an Erlang after {elapsed}", theory)


def test_a_rest_far_beyond_all_expectation_is_short_but_positive() -> None:
    """A step of 14 minutes that somebody forgot to end 15 hours ago."""
    doc = document(
        routes={"r": [step("work", "bench", {"lognormal": {"mean": 14, "sd": 6}})]},
        jobs=[job("1", running={"step": "work", "since": "2026-03-01T17:00:00+00:00"})],
    )
    minutes = simulate(Shop.from_dict(doc), 1000).completions[0]
    assert 0 < minutes.min() < minutes.mean() < 60
