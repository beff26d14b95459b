"""What holds in any shop, checked start by start in a plain event loop whose every figure equals the engine's."""

import copy
import random

from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st

from labqueue.engine import Shop, ShopError, simulate
from labqueue.engine.run import run_replications
from tests.engine.random_shops import random_shop
from tests.engine.shops import Document
from tests.engine.test_oracle import compare
from tests.engine.watched import Watched

SHOPS = st.integers(min_value=10_000, max_value=10_000_000)


@settings(max_examples=120, derandomize=True, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(number=SHOPS)
def test_no_start_breaks_a_rule_of_the_shop(number: int) -> None:
    """Work conservation, predecessors, capacity, opening hours, holds, loads, one draw for each try."""
    try:
        shop = Shop.from_dict(random_shop(number))
    except ShopError:
        assume(False)
    watched = Watched(shop, number, 0).run()
    event(f"{min(watched.starts_seen, 100) // 25 * 25} starts or more")
    assert watched.instants_seen > 0
    assert all(watched.job_is_consistent(piece) for piece in watched.pieces)
    _, books = run_replications(shop, 1, seed=number, threads=1)
    compare(shop, books, 0, seed=number)


@settings(max_examples=40, derandomize=True, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(number=SHOPS, threads=st.integers(2, 4))
def test_any_shop_is_the_same_on_any_number_of_threads(number: int, threads: int) -> None:
    try:
        shop = Shop.from_dict(random_shop(number))
    except ShopError:
        assume(False)
    _, one = run_replications(shop, 60, seed=number, threads=1)
    _, many = run_replications(shop, 60, seed=number, threads=threads)
    assert (one.completion == many.completion).all()
    assert (one.wait == many.wait).all()
    assert (one.step_wait == many.step_wait).all()


def without_ties(number: int) -> Document:
    """A random shop in which no two jobs are alike to a rule and each station has one resource of its own."""
    doc = random_shop(number)
    alone = {name: given for name, given in doc["resources"].items() if name.startswith("r-")}
    doc["resources"] = {name: given | {"stations": [name.removeprefix("r-")]} for name, given in alone.items()}
    for k, station in enumerate(sorted(doc["stations"])):
        doc["stations"][station]["rule"] = ("edd", "weight", "rank")[(number + k) % 3]
    for i, entry in enumerate(doc["jobs"]):
        entry |= {"due": f"2026-03-09T10:{i:02d}:00-05:00", "weight": 1 + i, "rank": i, "units": 1}
        entry["released"] = f"2026-03-06T09:3{i}:00-05:00"
        for key in ("running", "ready", "hold_since"):
            entry.pop(key, None)
    for steps in doc["routes"].values():
        for one in steps:
            one["minutes"] = {"lognormal": {"mean": 14, "sd": 6}}
    return doc | {"arrivals": []}


def shuffled(doc: Document, order: random.Random) -> Document:
    """The same shop with every section of the file in another order."""
    other = copy.deepcopy(doc)
    order.shuffle(other["jobs"])
    for section in ("calendars", "stations", "resources", "routes"):
        items = list(other[section].items())
        order.shuffle(items)
        other[section] = dict(items)
    return other


@settings(max_examples=60, derandomize=True, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(number=SHOPS, order=st.randoms(use_true_random=False))
def test_the_order_of_the_file_changes_nothing_but_ties(number: int, order: random.Random) -> None:
    doc = without_ties(number)
    assume(doc["jobs"])
    try:
        before = simulate(Shop.from_dict(doc), 5).to_dict()
    except ShopError:
        assume(False)
    after = simulate(Shop.from_dict(shuffled(doc, order)), 5).to_dict()
    for section, key in (("jobs", "id"), ("stations", "name"), ("resources", "name")):
        assert {one[key]: one for one in before[section]} == {one[key]: one for one in after[section]}
