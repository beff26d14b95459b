"""Small random shops by the engine and by the SimPy program, each with its own random numbers.

The command `python -m labqueue.engine benchmark --random-shops 200` compares on more.
"""

import pytest

from labqueue.engine import Shop, simulate
from labqueue.engine.benchmark.agreement import compare, outside
from labqueue.engine.benchmark.many_shops import Apart, compare_many
from labqueue.engine.benchmark.random_shops import random_shop
from labqueue.engine.benchmark.simpy_shop import SimpyShop
from tests.engine.shops import Document

SHOPS = 15


def test_the_answers_agree() -> None:
    apart = compare_many(1000, SHOPS, runs=150)
    print(f"{apart.comparisons} figures of {apart.shops} shops, {apart.outside} outside: {apart.worst}")
    assert apart.shops == SHOPS
    assert apart.comparisons > 2 * SHOPS
    assert apart.agrees
    assert apart.outside == len(apart.worst)


def slower(shop: Document) -> Document:
    """A sixth of the pure waiting and of the work takes an hour more."""
    for route in shop["routes"].values():
        for step in route:
            step["minutes"] = {"mixture": [[5, step["minutes"]], [1, {"uniform": [60, 80]}]]}
    return shop


def test_shops_that_differ_are_found_apart() -> None:
    found = total = 0
    for seed in range(1000, 1005):
        program = SimpyShop(Shop.from_dict(slower(random_shop(seed))))
        shop = Shop.from_dict(random_shop(seed))
        comparisons = compare(shop, simulate(shop, 1000, seed), [program.run(number) for number in range(100)])
        found, total = found + outside(comparisons), total + len(comparisons)
    assert not Apart(5, total, found, ()).agrees


def test_the_random_shops_hold_all_that_is_compared() -> None:
    shops = [random_shop(seed) for seed in range(200)]
    resources = [resource for shop in shops for resource in shop["resources"].values()]
    steps = [step for shop in shops for route in shop["routes"].values() for step in route]
    jobs = [job for shop in shops for job in shop["jobs"]]
    assert {rule["rule"] for shop in shops for rule in shop["stations"].values()} == {"fifo", "edd"}
    assert {"wait_minutes", "start_at"} <= {key for one in resources for key in one.get("load", {})}
    assert {True, False} <= {one.get("pauses") for one in resources}
    assert any("away" in one for one in resources)
    assert any(len(step["after"]) > 1 for step in steps)
    assert any("fail" in step and step["station"] is None for step in steps)
    assert all(any(job.get(key) for job in jobs) for key in ("due", "released", "hold_minutes", "done", "running"))
    assert any(shop["arrivals"] for shop in shops)


@pytest.mark.parametrize(("outside_band", "agrees"), [(0, True), (1, True), (6, True), (7, False)])
def test_how_many_may_lie_outside(outside_band: int, agrees: bool) -> None:
    """Of 1,000 one is expected; 4 standard deviations and one more are allowed."""
    apart = Apart(200, 1000, outside_band, ())
    assert apart.share == outside_band / 1000
    assert apart.agrees == agrees
