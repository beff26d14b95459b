"""The same small shops written in SimPy, with its own random numbers: the answers agree within their errors.

Two are written here by hand; the others go through the benchmark's program, which reads any shop of its kind.
"""

import math
import random
from collections.abc import Generator
from statistics import fmean, stdev
from typing import Any

import pytest
import simpy

from labqueue.engine import Shop, simulate
from labqueue.engine.benchmark.agreement import compare
from labqueue.engine.benchmark.result import NotCovered
from labqueue.engine.benchmark.simpy_shop import SimpyShop
from labqueue.engine.measures import student_95
from tests.engine.shops import Document, document, finish_minutes, job, step

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


def hand(**more: Any) -> Document:
    return {"hand": {"stations": ["bench"], "calendar": "day", **more}}


def oven(minutes: float, **load: Any) -> dict[str, Any]:
    return {
        "resources": {"hand": {"stations": ["bench"], "calendar": "always", "load": load}},
        "routes": {name: [step("bake", "bench", minutes, family=name)] for name in ("long", "short")},
    }


def side_by_side() -> list[Document]:
    return [step("a", "bench", 10), step("b", "bench", 20, after=[]), step("c", "bench", 5, after=["a", "b"])]


RUNNING = {"step": "work", "since": "2026-03-02T07:56:00+00:00"}
BY_HAND: dict[str, tuple[Document, list[float]]] = {
    "a person pauses over lunch": (
        document(resources=hand(), routes={"r": [step("work", "bench", 270)]}, jobs=[job("1")]),
        [330],
    ),
    "a machine runs on, and begins nothing while closed": (
        document(resources=hand(pauses=False), routes={"r": [step("work", "bench", 270)]}, jobs=[job("1"), job("2")]),
        [270, 570],
    ),
    "the earlier due first": (
        document(
            stations={"bench": {"rule": "edd"}},
            jobs=[job("1", due="2026-03-02T12:00:00+00:00"), job("2", due="2026-03-02T10:00:00+00:00")],
        ),
        [20, 10],
    ),
    "away until nine": (
        document(resources=hand(away=[["2026-03-02T08:00:00+00:00", "2026-03-02T09:00:00+00:00"]]), jobs=[job("1")]),
        [70],
    ),
    "pure waiting": (
        document(routes={"r": [step("work", "bench", 10), step("dry", None, 25)]}, jobs=[job("1"), job("2")]),
        [35, 45],
    ),
    "a hold": (document(jobs=[job("1", hold_minutes=45), job("2")]), [55, 10]),
    "released at nine": (document(jobs=[job("1", released="2026-03-02T09:00:00+00:00")]), [70]),
    "the rest of a step under way": (document(jobs=[job("1"), job("2", running=RUNNING)]), [16, 6]),
    "side by side, then together": (
        document(resources=hand(count=2), routes={"r": side_by_side()}, jobs=[job("1")]),
        [25],
    ),
    "a load that is full, and the next when the oven is free": (
        document(**oven(60, capacity=2, wait_minutes=30), jobs=[job(str(i), "long") for i in range(3)]),
        [60, 60, 120],
    ),
    "a load that has waited": (document(**oven(60, capacity=2, wait_minutes=30), jobs=[job("1", "long")]), [90]),
    "a load at a clock time": (document(**oven(60, capacity=9, start_at=["09:00"]), jobs=[job("1", "long")]), [120]),
    "families do not share a load": (
        document(**oven(60, capacity=2, wait_minutes=15), jobs=[job("1", "short"), job("2", "long")]),
        [75, 135],
    ),
    "a load passes over what does not fit": (
        document(
            **oven(60, capacity=3, wait_minutes=30),
            jobs=[job("1", "long", units=2), job("2", "long", units=2), job("3", "long")],
        ),
        [60, 120, 60],
    ),
}


@pytest.mark.parametrize("name", BY_HAND)
def test_the_program_gives_what_is_computed_by_hand_and_so_does_the_engine(name: str) -> None:
    shop, expected = BY_HAND[name]
    assert SimpyShop(Shop.from_dict(shop)).run(1).completions == pytest.approx(expected)
    assert finish_minutes(shop) == pytest.approx(expected)


def branches_shop() -> Document:
    """Two branches: a failure of one breaks off what the other does, at a bench, in the oven or while it waits."""
    routes = {
        "r": [
            step("plan", "bench", {"gamma": {"mean": 8, "sd": 4}}),
            step("bake", "oven", {"triangular": [40, 50, 70]}, after=["plan"]),
            step("glaze", "last", {"exponential": {"mean": 9}}, after=["bake"]),
            step("cut", "bench", {"uniform": [10, 30]}, after=["plan"], fail={"probability": 0.3, "back_to": "plan"}),
            step("join", "last", {"lognormal": {"mean": 11, "sd": 5}}, after=["glaze", "cut"]),
        ]
    }
    arrival = {"route": "r", "calendar": "day", "between_minutes": {"exponential": {"mean": 40}}, "due_minutes": 300}
    return document(
        horizon_minutes=4000,
        warm_up_minutes=200,
        stations={"bench": {"rule": "edd"}, "oven": {"rule": "edd"}, "last": {}},
        resources={
            "hands": {"stations": ["bench"], "calendar": "day", "count": 2},
            "ovens": {"stations": ["oven"], "calendar": "always", "load": {"capacity": 3, "wait_minutes": 20}},
            "last": {"stations": ["last"], "calendar": "day"},
        },
        routes=routes,
        jobs=[job(str(i), due=f"2026-03-02T{9 + i}:00:00+00:00".replace("T9", "T09")) for i in range(6)],
        arrivals=[arrival],
    )


def test_branches_that_are_broken_off() -> None:
    shop = Shop.from_dict(branches_shop())
    program = SimpyShop(shop)
    comparisons = compare(shop, simulate(shop, 2000, seed=5), [program.run(seed) for seed in range(300)])
    for one in comparisons:
        print(f"{one.name}: {one.engine:.4g} SimPy {one.witness:.4g} z {one.z:+.2f}")
    assert {one.name for one in comparisons} >= {"mean completion", "wait at oven", "flow of r"}
    assert all(one.agrees for one in comparisons)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"stations": {"bench": {"rule": "cr"}}}, "stations.bench.rule"),
        ({"resources": hand() | {"more": {"stations": ["bench"], "calendar": "day"}}}, "stations.bench"),
        ({"jobs": [job("1", ready="2026-03-02T07:00:00+00:00")]}, "ready"),
    ],
)
def test_what_the_program_does_not_know_is_refused(change: Document, words: str) -> None:
    with pytest.raises(NotCovered, match=words):
        SimpyShop(Shop.from_dict(document(**change)))
