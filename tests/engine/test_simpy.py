"""The same small shops written in SimPy, with its own random numbers: the answers agree within their errors."""

import math
import random
from collections.abc import Generator
from statistics import fmean, stdev
from typing import Any

import pytest
import simpy

from labqueue.engine import Shop, simulate
from labqueue.engine.measures import student_95
from tests.engine.shops import Document, document, job, step

HORIZON = 20_000.0
WITNESSES = 60


def rework_shop(rule: str) -> Document:
    """Two benches and a drying shelf; a fifth fails at the end and begins anew; due dates tighter for some."""
    steps = [
        step("cut", "bench", {"exponential": {"mean": 12}}),
        step("dry", None, {"uniform": [10, 30]}),
        step("polish", "last", {"erlang": {"mean": 14, "k": 2}}, fail={"probability": 0.2, "back_to": "cut"}),
    ]
    arrival = {"route": "r", "calendar": "always", "between_minutes": {"exponential": {"mean": 20}}}
    return document(
        horizon_minutes=HORIZON,
        warm_up_minutes=1000,
        stations={"bench": {"rule": rule}, "last": {"rule": rule}},
        resources={
            "hand": {"stations": ["bench"], "calendar": "always"},
            "last": {"stations": ["last"], "calendar": "always"},
        },
        routes={"r": steps},
        arrivals=[arrival | {"due_minutes": {"mixture": [[1, 60], [1, 400]]}}],
    )


def simpy_rework(seed: int, edd: bool) -> tuple[float, float]:
    """Mean flow and share late of the jobs that finish after the warm-up."""
    r = random.Random(seed)
    env = simpy.Environment()
    bench, last = simpy.PriorityResource(env), simpy.PriorityResource(env)
    flows: list[tuple[float, bool]] = []

    def serve(resource: Any, due: float, minutes: float) -> Generator[Any, Any, None]:
        with resource.request(priority=due if edd else 0) as request:
            yield request
            yield env.timeout(minutes)

    def one_job() -> Generator[Any, Any, None]:
        came = env.now
        due = came + r.choice([60, 400])
        while True:
            yield from serve(bench, due, r.expovariate(1 / 12))
            yield env.timeout(r.uniform(10, 30))
            yield from serve(last, due, r.gammavariate(2, 7))
            if r.random() >= 0.2:
                break
        if env.now >= 1000:
            flows.append((env.now - came, env.now > due))

    def source() -> Generator[Any, Any, None]:
        while True:
            yield env.timeout(r.expovariate(1 / 20))
            env.process(one_job())

    env.process(source())
    env.run(HORIZON)
    return fmean(flow for flow, _ in flows), fmean(late for _, late in flows)


@pytest.mark.parametrize("rule", ["fifo", "edd"])
def test_flow_with_rework(rule: str) -> None:
    entry = simulate(Shop.from_dict(rework_shop(rule)), 400, seed=5).arrivals[0]
    witness = [simpy_rework(seed, rule == "edd") for seed in range(WITNESSES)]
    flows, lates = zip(*witness, strict=True)
    error = (entry["flow_ci"][1] - entry["flow_ci"][0]) / 2 / student_95(399)
    z = (entry["flow_mean"] - fmean(flows)) / math.hypot(error, stdev(flows) / math.sqrt(WITNESSES))
    late_error = stdev(lates) / math.sqrt(WITNESSES) * math.sqrt(1 + WITNESSES / 400)
    z_late = (entry["late"] - fmean(lates)) / late_error
    print(
        f"{rule}: flow {entry['flow_mean']:.2f} SimPy {fmean(flows):.2f} z {z:+.2f}; late {entry['late']:.4f}", end=" "
    )
    print(f"SimPy {fmean(lates):.4f} z {z_late:+.2f}")
    assert abs(z) < 4
    assert abs(z_late) < 4


def furnace_shop(jobs: int) -> Document:
    return document(
        stations={"bench": {}, "oven": {}},
        resources={
            "hand": {"stations": ["bench"], "calendar": "always", "count": 2},
            "oven": {"stations": ["oven"], "calendar": "always", "load": {"capacity": 4, "wait_minutes": 30}},
        },
        routes={
            "r": [
                step("cut", "bench", {"triangular": [5, 10, 30]}),
                step("bake", "oven", {"lognormal": {"mean": 60, "sd": 12}}),
            ]
        },
        jobs=[job(str(i)) for i in range(jobs)],
    )


def simpy_furnace(seed: int, jobs: int) -> list[float]:
    """Completions of the same furnace: full at 4, or when the oldest has waited 30 minutes."""
    r = random.Random(seed)
    env = simpy.Environment()
    bench = simpy.Resource(env, 2)
    waiting: list[tuple[float, int]] = []
    finish = [math.inf] * jobs
    sigma = math.sqrt(math.log1p(0.04))

    def one_job(number: int) -> Generator[Any, Any, None]:
        with bench.request() as request:
            yield request
            yield env.timeout(r.triangular(5, 30, 10))
        waiting.append((env.now, number))

    def oven() -> Generator[Any, Any, None]:
        while True:
            while not (len(waiting) >= 4 or (waiting and env.now - waiting[0][0] >= 30)):
                yield env.timeout(0.05)
            load, waiting[:] = waiting[:4], waiting[4:]
            yield env.timeout(r.lognormvariate(math.log(60) - sigma * sigma / 2, sigma))
            for _, number in load:
                finish[number] = env.now

    for number in range(jobs):
        env.process(one_job(number))
    env.process(oven())
    env.run(600)
    return finish


def test_completions_through_a_furnace() -> None:
    ours = simulate(Shop.from_dict(furnace_shop(7)), 4000, seed=5).completions
    theirs = [simpy_furnace(seed, 7) for seed in range(WITNESSES)]
    # the oven of the witness looks every 0.05 minutes: a bias of at most 0.05 in each of two loads
    for number in (0, 6):
        column = [row[number] for row in theirs]
        z = (ours[number].mean() - fmean(column)) / (stdev(column) / math.sqrt(WITNESSES))
        print(f"job {number}: {ours[number].mean():.2f} SimPy {fmean(column):.2f} z {z:+.2f}")
        assert abs(z) < 4
