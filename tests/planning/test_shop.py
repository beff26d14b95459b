"""The whole shop: what the engine takes, and that one odd row does not stop the others."""

from dataclasses import replace
from datetime import date

import pytest

from labqueue.engine import Shop, ShopError, simulate
from labqueue.planning.shop import HORIZON_MINUTES, assembled, case_parts, state, stream_parts
from labqueue.planning.shop import laboratory as base_of
from labqueue.planning.snapshot import Hours, Ordered, Place
from tests.planning.build import (
    CHECK,
    FIRE,
    FURNACE,
    MILL,
    NOW,
    PACK,
    WEEK,
    ago,
    case,
    done,
    laboratory,
    piece,
    server,
    started,
    step,
)

ORDERS = (Ordered(ago(days=20), "zirconia_crown", "zirconia_3y", ago(days=15)),)


def test_the_shop_is_put_together_as_the_engine_reads_it() -> None:
    snapshot = laboratory(case("2600001"), case("2600002"), ordered=ORDERS)
    plain = assembled(base_of(snapshot), [*case_parts(snapshot), *stream_parts(snapshot)])
    assert plain["now"] == "2026-03-04T10:00:00-05:00"
    assert plain["horizon_minutes"] == HORIZON_MINUTES == 60_480
    assert plain["stations"] == {code: {"rule": "edd"} for code in ("mill", "fire", "check", "pack")}
    assert list(plain["routes"]) == ["2600001", "2600002", "zirconia_crown of zirconia_3y"]
    assert [job["id"] for job in plain["jobs"]] == ["2600001", "2600002"]
    assert [stream["route"] for stream in plain["arrivals"]] == ["zirconia_crown of zirconia_3y"]


def test_the_engine_takes_the_floor_with_everything_on_it() -> None:
    dried = replace(FIRE, wait={"triangular": [30, 45, 90]}, fail=0.1, back_to="mill")
    snapshot = laboratory(
        case("2600001"),
        case("2600002", piece(done(MILL, minutes=40), dried, CHECK, PACK), due_at=None),
        case("2600003", piece(done(MILL, hours=9), started(dried, hours=1), CHECK, PACK), held_since=ago(hours=5)),
        case("2600004", piece(released_at=None)),
        case("2600005", piece(done(MILL, hours=9), done(FIRE, hours=5), done(CHECK, hours=1), PACK)),
        ordered=ORDERS,
        closed=frozenset({date(2026, 3, 9)}),
    )
    stated = state(snapshot)
    assert stated.left_out == {}
    assert len(stated.shop.jobs) == 5
    assert len(stated.shop.arrivals) == 1
    assert stated.shop.jobs[2].hold_since == ago(hours=5)


def test_an_empty_laboratory_is_a_shop() -> None:
    assert state(laboratory()).shop.jobs == ()


@pytest.mark.parametrize(
    ("odd", "fault"),
    [
        (piece(MILL, done(FIRE, hours=1), CHECK, PACK), '"1.fire" is done, but "1.mill" before it is not'),
        (piece(MILL, started(FIRE, hours=1), CHECK, PACK), '"1.fire" is running, but "1.mill" before it is not done'),
        (piece(MILL, MILL), 'the step "1.mill" is named twice'),
        (piece(step("mill", "polish"), CHECK), 'no station "polish"'),
        (piece(replace(MILL, minutes={"fixd": 3})), 'no distribution "fixd"'),
        (piece(replace(MILL, fail=0.2, back_to="glaze")), 'no step "1.glaze"'),
        (piece(replace(MILL, minutes=-4)), "at least 0"),
    ],
)
def test_an_odd_case_is_left_out_with_the_reason(odd: object, fault: str) -> None:
    stated = state(laboratory(case("2600001"), case("2600002", odd), case("2600003")))  # type: ignore[arg-type]
    assert [job.id for job in stated.shop.jobs] == ["2600001", "2600003"]
    assert list(stated.left_out) == ["2600002"]
    assert fault in stated.left_out["2600002"]
    assert "jobs[" not in stated.left_out["2600002"], "the place in the file is for the log"


def test_a_case_that_could_not_even_be_read_is_left_out_too() -> None:
    unread = case("2600002", unstated="there is no route in use for: Zirconia crown")
    stated = state(laboratory(case("2600001"), unread))
    assert [job.id for job in stated.shop.jobs] == ["2600001"]
    assert stated.left_out == {"2600002": "there is no route in use for: Zirconia crown"}


def test_an_odd_route_stops_its_stream_only() -> None:
    odd = {"zirconia_crown": (MILL, MILL)}
    stated = state(laboratory(case("2600001"), ordered=ORDERS, routes=odd))
    assert len(stated.shop.jobs) == 1
    assert stated.shop.arrivals == ()
    assert stated.left_out == {}


def test_a_station_that_nobody_serves_leaves_out_the_cases_that_need_it() -> None:
    short = case("2600002", piece(done(MILL, hours=9), done(FIRE, hours=1), CHECK))
    snapshot = laboratory(case("2600001"), short, servers=(server("mill"), FURNACE, server("check")))
    stated = state(snapshot)
    assert [job.id for job in stated.shop.jobs] == ["2600002"]
    assert 'no resource serves the station "pack"' in stated.left_out["2600001"]


@pytest.mark.parametrize(
    "broken",
    [
        {"hours": {"day": Hours({"mon": [["12:00", "08:00"]]}), "always": Hours(always=True)}},
        {"stations": {"mill": Place("Mill", rule="loudest first")}},
        {"servers": (server("mill", load={"capacity": 0}),)},
    ],
)
def test_a_laboratory_that_cannot_be_stated_is_refused_as_a_whole(broken: dict[str, object]) -> None:
    with pytest.raises(ShopError):
        state(laboratory(case("2600001"), **broken))


def test_the_forecast_of_a_lone_case_is_as_counted_by_hand() -> None:
    """Released before 10:00: 10 min milling, 30 until the furnace starts, 500 firing; 18:40 is after hours; 20 more."""
    stated = state(laboratory(case("2600001")))
    [job] = simulate(stated.shop, replications=10, seed=1).to_dict()["jobs"]
    assert job["finish"]["p50"] == job["finish"]["p95"] == "2026-03-05T08:20:00-05:00"
    assert job["late"] == 0.0


def test_the_week_has_five_days() -> None:
    assert set(WEEK) == {"mon", "tue", "wed", "thu", "fri"}
    assert NOW.weekday() == 2
    assert isinstance(state(laboratory()).shop, Shop)
