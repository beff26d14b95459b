"""The work still to come: as much as came in the last four weeks."""

from dataclasses import replace
from datetime import timedelta

import pytest

from labqueue.planning.arrivals import arrival_routes, arrivals, lead_minutes
from labqueue.planning.snapshot import Ordered
from tests.planning.build import FIRE, MILL, NOW, ROUTE, ago, laboratory, server


def ordered(days_ago: float, material: str = "zirconia_3y", make: str = "zirconia_crown", lead: float = 5) -> Ordered:
    """A piece that was ordered then, for that many days later."""
    at = ago(days=days_ago)
    return Ordered(at, make, material, at + timedelta(days=lead))


FOUR_WEEKS = 20 * 480


def test_the_gap_is_the_working_time_over_the_number_of_pieces() -> None:
    snapshot = laboratory(ordered=tuple(ordered(day) for day in (27.99, 20, 10, 3)))
    assert arrivals(snapshot) == [
        {
            "route": "zirconia_crown of zirconia_3y",
            "calendar": "day",
            "between_minutes": {"exponential": {"mean": pytest.approx(FOUR_WEEKS / 4, rel=0.002)}},
            "due_minutes": 5 * 1440,
        }
    ]


def test_each_material_is_a_stream_of_its_own() -> None:
    orders = (ordered(27.99), ordered(9), ordered(8, "zirconia_5y"))
    streams = arrivals(laboratory(ordered=orders))
    means = {stream["route"]: stream["between_minutes"]["exponential"]["mean"] for stream in streams}
    assert means["zirconia_crown of zirconia_5y"] == pytest.approx(2 * means["zirconia_crown of zirconia_3y"])


def test_a_young_laboratory_counts_from_its_first_order_but_a_week_at_least() -> None:
    [ten_days] = arrivals(laboratory(ordered=(ordered(14), ordered(1))))
    assert ten_days["between_minutes"]["exponential"]["mean"] == pytest.approx(10 * 480 / 2)
    [one_hour] = arrivals(laboratory(ordered=(ordered(0.01),)))
    assert one_hour["between_minutes"]["exponential"]["mean"] == pytest.approx(5 * 480)


def test_nothing_comes_where_nothing_came() -> None:
    assert arrivals(laboratory()) == []
    assert arrivals(laboratory(ordered=(ordered(29), ordered(40)))) == []


def test_nothing_comes_where_nobody_takes_it_in_or_no_route_makes_it() -> None:
    assert arrivals(laboratory(ordered=(ordered(3),), servers=(server("check"),))) == []
    assert arrivals(laboratory(ordered=(ordered(3, make="metal_crown"),))) == []


def test_its_route_is_the_make_s_with_the_material_in_the_furnace() -> None:
    dried = (MILL, replace(FIRE, wait={"fixed": 45}))
    snapshot = laboratory(ordered=(ordered(3, "zirconia_5y"),), routes={"zirconia_crown": dried})
    [(name, route)] = arrival_routes(snapshot).items()
    assert name == "zirconia_crown of zirconia_5y"
    assert [entry["step"] for entry in route] == ["1.mill", "1.fire (wait)", "1.fire"]
    assert route[-1]["family"] == "zirconia_5y"


def test_every_stream_has_its_route() -> None:
    orders = (ordered(3), ordered(4, "zirconia_5y"), ordered(5, make="metal_crown"))
    snapshot = laboratory(ordered=orders, routes={"zirconia_crown": ROUTE})
    assert {stream["route"] for stream in arrivals(snapshot)} == set(arrival_routes(snapshot))


def test_the_lead_is_the_mean_of_those_with_a_date() -> None:
    pieces = [ordered(9, lead=4), ordered(9, lead=6), replace(ordered(9), due_at=None)]
    assert lead_minutes(pieces) == 5 * 1440
    assert lead_minutes([replace(ordered(9), due_at=None)]) == 7 * 1440
    assert lead_minutes([ordered(9, lead=-1)]) == 0


def test_nothing_ordered_after_now_is_counted() -> None:
    assert arrivals(laboratory(ordered=(ordered(-1), ordered(27.99)))) == arrivals(
        laboratory(ordered=(ordered(27.99),))
    )
    assert laboratory().now == NOW
