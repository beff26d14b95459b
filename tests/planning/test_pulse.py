"""Work with a sign of life, and a forecast that takes longer than its lease."""

import time
from threading import Event, current_thread
from typing import Any

import pytest
from django.utils import timezone

from labqueue.base import outbox
from labqueue.base.models import OutboxRow
from labqueue.base.outbox import Handler, LeaseLost
from labqueue.engine import Shop
from labqueue.planning import forecast, freshness
from labqueue.planning.models import Forecast
from labqueue.planning.pulse import GivenUp, GoOn, with_pulse
from labqueue.planning.tasks import make_forecast
from tests.production.build import released_case

State = OutboxRow.State


def test_the_answer_is_that_of_the_work_in_a_thread_of_its_own() -> None:
    answer = with_pulse(lambda _: current_thread(), lambda: None, every=10)
    assert answer is not current_thread()
    assert answer.name.startswith("pulse")


def test_the_pulse_beats_in_the_caller_s_thread_until_the_work_ends() -> None:
    ends, beats = Event(), []

    def pulse() -> None:
        beats.append(current_thread())
        if len(beats) == 3:
            ends.set()

    assert with_pulse(lambda _: ends.wait(30), pulse, every=0.01)
    assert beats[:3] == [current_thread()] * 3


def test_quick_work_needs_no_pulse() -> None:
    beats: list[int] = []
    assert with_pulse(lambda _: 7, lambda: beats.append(1), every=30) == 7
    assert beats == []


@pytest.mark.parametrize("fault", [TimeoutError, ValueError])
def test_what_the_work_raises_is_raised(fault: type[Exception]) -> None:
    def work(_: GoOn) -> None:
        raise fault("the work")

    with pytest.raises(fault, match="the work"):
        with_pulse(work, lambda: None, every=0.01)


def test_a_pulse_that_fails_ends_the_waiting_at_once() -> None:
    ends = Event()

    def pulse() -> None:
        raise LeaseLost

    with pytest.raises(LeaseLost):
        with_pulse(lambda _: ends.wait(30), pulse, every=0.01)
    assert not ends.is_set(), "nobody waited for the work"
    ends.set()


def test_work_that_is_given_up_ends_when_it_asks_whether_to_go_on() -> None:
    ended = Event()

    def work(go_on: GoOn) -> None:
        try:
            while True:
                go_on()
                time.sleep(0.01)
        except GivenUp:
            ended.set()

    def pulse() -> None:
        raise LeaseLost

    with pytest.raises(LeaseLost):
        with_pulse(work, pulse, every=0.05)
    assert ended.wait(10)


@pytest.fixture
def short_lease(monkeypatch: pytest.MonkeyPatch) -> None:
    """One second, for the same handler."""
    monkeypatch.setitem(outbox.HANDLERS, freshness.KIND, Handler(make_forecast, lease=1))


def longer_than_its_lease(monkeypatch: pytest.MonkeyPatch, meanwhile: list[OutboxRow]) -> None:
    """Each simulation takes three leases; `meanwhile` gets the row as it stands just before the end."""
    simulated = forecast.simulated

    def slowly(stated: Shop, go_on: GoOn) -> dict[str, Any]:
        time.sleep(3)
        return simulated(stated, go_on)

    extend = outbox.extend

    def seen(row: OutboxRow) -> None:
        extend(row)
        meanwhile.append(OutboxRow.objects.get(pk=row.pk))
        assert outbox.sweep() == [], "nobody else is sent for it"

    monkeypatch.setattr(forecast, "simulated", slowly)
    monkeypatch.setattr(outbox, "extend", seen)


@pytest.mark.django_db(transaction=True)
def test_a_forecast_longer_than_its_lease_is_made_once(
    settings: object, monkeypatch: pytest.MonkeyPatch, short_lease: None
) -> None:
    settings.PLANNING_REPLICATIONS = 50  # type: ignore[attr-defined]
    released_case()
    row, held = freshness.ask(), list[OutboxRow]()
    longer_than_its_lease(monkeypatch, held)
    assert outbox.run(row.pk)
    row.refresh_from_db()
    assert (row.state, row.attempt, row.error) == (State.DONE, 1, "")
    assert Forecast.objects.count() == 1
    leases = [seen.lease_until for seen in held]
    assert len(leases) >= 8, "every quarter of a lease"
    assert leases == sorted(leases)  # type: ignore[type-var]


@pytest.mark.django_db(transaction=True)
def test_a_forecast_that_was_overtaken_stops_and_publishes_nothing(
    settings: object, monkeypatch: pytest.MonkeyPatch, short_lease: None
) -> None:
    settings.PLANNING_REPLICATIONS = 50  # type: ignore[attr-defined]
    released_case()
    row, ends = freshness.ask(), Event()
    monkeypatch.setattr(forecast, "simulated", lambda _: ends.wait(60))
    claimed = outbox.claim(row.pk)
    assert claimed is not None
    OutboxRow.objects.filter(pk=row.pk).update(attempt=2, lease_until=timezone.now())
    assert not outbox.attempt(claimed)
    ends.set()
    row.refresh_from_db()
    assert (row.state, row.attempt, row.error) == (State.RUNNING, 2, ""), "it is the other attempt's"
    assert not Forecast.objects.exists()
