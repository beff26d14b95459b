"""The figures of a whole forecast, held to queueing theory and to shops whose answer is plain."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from labqueue.engine import simulate
from labqueue.planning import bottleneck, words
from labqueue.planning.shop import HORIZON_MINUTES, state
from labqueue.planning.snapshot import Hours, Ordered, Snapshot
from tests.planning.build import FURNACE, NOW, ROUTE, ago, case, done, laboratory, piece, server, step

ALWAYS = {"hours": {"day": Hours(always=True), "always": Hours(always=True)}}


def forecast(snapshot: Snapshot, replications: int = 60) -> dict[str, Any]:
    """The plain form of a forecast of that floor."""
    stated = state(snapshot)
    assert stated.left_out == {}
    return simulate(stated.shop, replications=replications, seed=3).to_dict()


def orders(number: int) -> tuple[Ordered, ...]:
    """So many pieces over the last four weeks."""
    gap = timedelta(weeks=4) / number
    moments: list[datetime] = [NOW - timedelta(weeks=4) + gap * (i + 0.5) for i in range(number)]
    return tuple(Ordered(at, "zirconia_crown", "zirconia_3y", at + timedelta(days=6)) for at in moments)


def figure(figures: dict[str, Any], station: str) -> dict[str, Any]:
    """What a forecast says of a station."""
    found: dict[str, Any] = next(entry for entry in figures["stations"] if entry["name"] == station)
    return found


BUSY = tuple(replace(made, minutes={"exponential": {"mean": 30}}) for made in ROUTE if made.name != "fire")


@pytest.mark.parametrize("station", ["mill", "check", "pack"])
def test_littles_law_holds_at_every_station(station: str) -> None:
    """Mean number waiting = starts per minute x mean waiting (Little 1961), but for what is left at the horizon."""
    snapshot = laboratory(ordered=orders(1000), routes={"zirconia_crown": BUSY}, **ALWAYS)
    found = figure(forecast(snapshot), station)
    rate = found["started"] / HORIZON_MINUTES
    assert found["queue_mean"] > 0.5, "there is a queue to speak of"
    assert found["queue_mean"] == pytest.approx(rate * found["wait_mean"], rel=0.03)


@pytest.mark.parametrize("station", ["mill", "check"])
def test_littles_law_holds_with_nights_and_weekends(station: str) -> None:
    snapshot = laboratory(ordered=orders(240), routes={"zirconia_crown": BUSY})
    found = figure(forecast(snapshot), station)
    assert found["queue_mean"] == pytest.approx(found["started"] / HORIZON_MINUTES * found["wait_mean"], rel=0.05)


def test_waiting_is_that_of_the_queue_with_one_server() -> None:
    """M/M/1: arrivals every 43.2 min against 30 min of work: rho 0.744, Wq = rho / (1 - rho) x 30 = 87 min."""
    snapshot = laboratory(ordered=orders(1000), routes={"zirconia_crown": BUSY[:1]}, **ALWAYS)
    found = figure(forecast(snapshot, replications=400), "mill")
    rho = 30 / (4 * 7 * 1440 / 1000)
    assert found["utilisation"] == pytest.approx(rho, rel=0.02)
    assert found["wait_mean"] == pytest.approx(rho / (1 - rho) * 30, rel=0.10)


def slow(station: str) -> Snapshot:
    """Thirty cases before a laboratory of which one station takes twelve times as long as the others."""
    route = tuple(step(code, minutes=120 if code == station else 10) for code in ("mill", "check", "pack"))
    due = NOW + timedelta(days=5)
    return laboratory(*(case(f"26{n:05}", piece(*route), due_at=due) for n in range(30)))


@pytest.mark.parametrize("station", ["mill", "check", "pack"])
def test_the_plain_bottleneck_is_named(station: str) -> None:
    snapshot = slow(station)
    loads = bottleneck.loads(snapshot, forecast(snapshot))
    worst = bottleneck.worst(loads)
    assert worst is not None
    assert worst.code == station
    assert worst.late_cases > 10
    assert sum(load.late_cases for load in loads) - worst.late_cases < 0.2 * worst.late_cases
    assert worst.utilisation == max(load.utilisation or 0 for load in loads)
    facts = words.bottleneck(worst.late_cases, worst.wait_minutes, worst.utilisation)
    assert facts.startswith(f"an estimated {worst.late_cases:.1f} late cases, about ")


def test_late_cases_by_station_add_up_to_those_expected() -> None:
    snapshot = slow("check")
    figures = forecast(snapshot)
    expected = sum(job["late"] for job in figures["jobs"])
    assert sum(load.late_cases for load in bottleneck.loads(snapshot, figures)) == pytest.approx(expected)


def test_the_last_case_of_a_long_queue_says_where_it_waits() -> None:
    snapshot = slow("check")
    job = forecast(snapshot)["jobs"][-1]
    reason = words.reason(snapshot.cases[-1], job["waits"], {"check": "Quality check"})
    assert reason.startswith("waits mostly at Quality check, about ")
    assert reason.endswith(" days")


def test_work_still_to_come_makes_open_cases_wait() -> None:
    """Work that is due earlier overtakes."""
    quiet = laboratory(case("2600001", due_at=NOW + timedelta(days=30)))
    busy = replace(quiet, ordered=orders(800), servers=(server("mill"), FURNACE, server("check"), server("pack")))
    [alone], [crowded] = forecast(quiet)["jobs"], forecast(busy)["jobs"]
    assert crowded["mean_finish"] > alone["mean_finish"]


def test_a_hold_is_waited_for_as_long_as_answers_take() -> None:
    """Held just now, the case can go on after 0.7 days in half of all futures."""
    one = (step("mill", minutes=1),)
    held = laboratory(case("2600001", piece(*one), held_since=NOW, due_at=None), **ALWAYS)
    [job] = forecast(held, replications=2000)["jobs"]
    waited = datetime.fromisoformat(job["finish"]["p50"]) - NOW
    assert waited / timedelta(days=0.7) == pytest.approx(1, rel=0.07)


def test_a_long_hold_is_no_shorter_for_it() -> None:
    """The rest is drawn given what has passed: who has waited two days waits on."""
    one = (step("mill", minutes=1),)
    held = laboratory(case("2600001", piece(*one), held_since=ago(days=2), due_at=None), **ALWAYS)
    [job] = forecast(held)["jobs"]
    assert datetime.fromisoformat(job["finish"]["p50"]) - NOW > timedelta(days=0.5)


def test_a_boxed_case_on_hold_leaves_when_the_answer_comes() -> None:
    """It is late where the answer is; one that is not held is ready already."""
    boxed = (done(step("mill"), hours=2),)
    facts = {"due_at": NOW + timedelta(days=0.7)}
    held, free = case("2600001", piece(*boxed), held_since=NOW, **facts), case("2600002", piece(*boxed), **facts)
    of_held, of_free = forecast(laboratory(held, free), replications=2000)["jobs"]
    assert of_held["late"] == pytest.approx(0.5, abs=0.04)
    assert (datetime.fromisoformat(of_held["finish"]["p50"]) - NOW) / timedelta(days=0.7) == pytest.approx(1, rel=0.07)
    assert (of_free["late"], datetime.fromisoformat(of_free["finish"]["p95"])) == (0.0, NOW)
