"""A simulation that is told to stop does so between two slices of replications, on any number of threads."""

import pytest

from labqueue.engine import Shop, run, simulate
from labqueue.engine.memory import Memory, allot
from labqueue.engine.plan import Plan
from tests.engine.shops import document, job


class EnoughError(Exception):
    """What the caller raises."""


@pytest.mark.parametrize("threads", [1, 2])
def test_between_is_called_after_each_slice(threads: int) -> None:
    calls: list[int] = []
    shop = Shop.from_dict(document(jobs=[job("1")]))
    forecast = simulate(shop, 10 * run.SLICE, threads=threads, between=lambda: calls.append(1))
    assert len(calls) == 10
    assert forecast.to_dict() == simulate(shop, 10 * run.SLICE).to_dict()


@pytest.mark.parametrize("threads", [1, 2])
def test_what_it_raises_ends_the_simulation(threads: int, monkeypatch: pytest.MonkeyPatch) -> None:
    begun: list[int] = []

    def counted(plan: Plan, count: int) -> Memory:
        begun.append(count)
        return allot(plan, count)

    monkeypatch.setattr(run, "allot", counted)

    def enough() -> None:
        raise EnoughError

    busy = document(
        horizon_minutes=50_000,
        arrivals=[{"route": "r", "calendar": "always", "between_minutes": {"exponential": {"mean": 11}}}],
    )
    with pytest.raises(EnoughError):
        simulate(Shop.from_dict(busy), 400 * run.SLICE, threads=threads, between=enough)
    assert 1 <= len(begun) < 50
