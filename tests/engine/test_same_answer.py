"""The same question gets the same answer: on any number of threads, in any order of the file, on any day."""

import copy
import json
import random
from typing import Any

import numpy as np
import pytest

from labqueue.engine import Forecast, Shop, ShopError, run, simulate
from tests.engine.random_shops import random_shop
from tests.engine.shops import Document, document, job, step


def rich_shop() -> Document:
    """Two stations, a furnace, people with hours, work under way and to come."""
    return document(
        horizon_minutes=7 * 1440,
        stations={"bench": {"rule": "edd"}, "oven": {"rule": "atc"}},
        resources={
            "hand": {"stations": ["bench"], "calendar": "day", "count": 2},
            "oven": {"stations": ["oven"], "calendar": "always", "load": {"capacity": 4, "wait_minutes": 120}},
        },
        routes={
            "r": [
                step("a", "bench", {"lognormal": {"mean": 30, "sd": 12}}),
                step("b", "oven", {"triangular": [100, 120, 180]}),
                step("c", "bench", {"gamma": {"mean": 20, "sd": 9}}, fail={"probability": 0.1, "back_to": "a"}),
            ]
        },
        jobs=[
            job("1", running={"step": "a", "since": "2026-03-02T07:50:00+00:00"}, due="2026-03-02T16:00:00+00:00"),
            job("2", done=["a"], hold_minutes={"exponential": {"mean": 300}}, due="2026-03-03T16:00:00+00:00"),
            job("3", released="2026-03-03T09:00:00+00:00", due="2026-03-03T12:00:00+00:00", units=2),
        ],
        arrivals=[
            {"route": "r", "calendar": "day", "between_minutes": {"exponential": {"mean": 60}}, "due_minutes": 1440}
        ],
    )


def test_one_and_two_threads_give_the_same_forecast_to_the_last_digit() -> None:
    shop = Shop.from_dict(rich_shop())
    one, two, three = (simulate(shop, 130, seed=7, threads=threads) for threads in (1, 2, 3))
    assert json.dumps(one.to_dict()) == json.dumps(two.to_dict()) == json.dumps(three.to_dict())
    assert np.array_equal(one.completions, two.completions)


def test_replications_are_the_same_however_many_follow() -> None:
    shop = Shop.from_dict(rich_shop())
    few, many = simulate(shop, 30, seed=7), simulate(shop, 200, seed=7)
    assert np.array_equal(few.completions, many.completions[:, :30])
    assert not np.array_equal(few.completions, simulate(shop, 30, seed=8).completions)


def test_pinned_figures() -> None:
    """These change only if the draws or the semantics change; then say so."""
    forecast = simulate(Shop.from_dict(rich_shop()), 200, seed=7)
    found = [entry["finish"]["p50"] for entry in forecast.jobs] + [entry["late"] for entry in forecast.jobs]
    assert found == PINNED


def by_id(forecast: Forecast) -> dict[str, list[float]]:
    return {entry["id"]: row.tolist() for entry, row in zip(forecast.jobs, forecast.completions, strict=True)}


@pytest.mark.parametrize("number", range(12))
def test_the_order_of_the_file_changes_nothing_where_it_breaks_no_ties(number: int) -> None:
    """All due dates, weights and ranks are different, so that no rule ever finds two jobs equal."""
    doc = copy.deepcopy(random_shop(number + 1000))
    shuffled = random.Random(number)
    for i, entry in enumerate(doc["jobs"]):
        entry |= {"due": f"2026-03-09T10:{i:02d}:00-05:00", "weight": 1 + i, "rank": i, "ready": doc["now"]}
        entry["released"] = f"2026-03-06T09:3{i}:00-05:00"
        for key in ("running", "ready", "hold_since"):
            entry.pop(key, None)
    for name, rule in zip(sorted(doc["stations"]), ("edd", "weight", "rank", "edd"), strict=False):
        doc["stations"][name]["rule"] = rule
    for steps in doc["routes"].values():
        for one in steps:
            one["minutes"] = {"lognormal": {"mean": 14, "sd": 6}}
    doc["arrivals"] = []
    other = copy.deepcopy(doc)
    shuffled.shuffle(other["jobs"])
    for section in ("routes", "stations", "calendars"):
        items = list(other[section].items())
        shuffled.shuffle(items)
        other[section] = dict(items)
    assert by_id(simulate(Shop.from_dict(doc), 20)) == by_id(simulate(Shop.from_dict(other), 20))


def test_a_job_more_changes_no_luck_of_the_others() -> None:
    """Common random numbers: beside a job that meets nobody, all others finish as before."""
    doc = rich_shop()
    before = by_id(simulate(Shop.from_dict(doc), 50))
    doc["routes"]["dry"] = [step("dry", None, {"exponential": {"mean": 100}})]
    doc["jobs"].insert(0, job("new", "dry"))
    doc["arrivals"].insert(0, {"route": "dry", "calendar": "always", "between_minutes": 50})
    after = by_id(simulate(Shop.from_dict(doc), 50))
    assert {name: after[name] for name in before} == before


def test_many_jobs_at_once_need_more_room_and_get_it() -> None:
    """An overloaded shop: far more arrivals stay than there is room for at first."""
    doc = document(
        horizon_minutes=30_000,
        arrivals=[{"route": "r", "calendar": "always", "between_minutes": 5, "due_minutes": 100}],
    )
    forecast = simulate(Shop.from_dict(doc), 3)
    # one in 5 minutes comes, one in 10 leaves: the n-th finishes at 5 + 10 n
    assert forecast.arrivals[0]["finished"] == 2999
    assert forecast.stations[0]["started"] == 3000
    assert forecast.stations[0]["queue_mean"] == pytest.approx(30_000 / 2 * (1 / 5 - 1 / 10), rel=0.01)
    assert forecast.arrivals[0]["flow_mean"] == pytest.approx((2999 + 1) / 2 * 5 + 5)


def test_a_loop_without_end_is_given_up_with_a_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("labqueue.engine.plan.MOST_EVENTS", 20_000)
    doc: Any = document(
        routes={"r": [step("work", "bench", 0, fail={"probability": 1 - 1e-12, "back_to": "work"})]}, jobs=[job("1")]
    )
    with pytest.raises(ShopError, match=r"^horizon_minutes: replication 0 reached the bound of \d+ events"):
        simulate(Shop.from_dict(doc), 2)


def test_more_arrivals_unfinished_than_the_bound_are_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run, "MOST_SLOTS", 1000)
    doc = document(arrivals=[{"route": "r", "calendar": "always", "between_minutes": 0.5}])
    with pytest.raises(ShopError, match=r"^arrivals: replication 0 has more than 1000 jobs unfinished at once"):
        simulate(Shop.from_dict(doc), 2)


def test_at_least_one_replication_and_thread() -> None:
    shop = Shop.from_dict(document())
    with pytest.raises(ValueError, match="at least 1"):
        simulate(shop, 0)
    with pytest.raises(ValueError, match="at least 1"):
        simulate(shop, 1, threads=0)


PINNED: list[Any] = [
    "2026-03-02T13:19:55+00:00",
    "2026-03-02T16:22:11+00:00",
    "2026-03-03T13:19:31+00:00",
    0.075,
    0.015,
    0.855,
]
