"""The orders of the demonstration: as many as a laboratory of 26 has, and each one possible."""

from collections import Counter
from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest

from labqueue.demo.demand import Order, orders
from labqueue.demo.load import read
from orders.makes import Make
from orders.teeth import PERMANENT

pytestmark = pytest.mark.once
ZONE = ZoneInfo("America/New_York")
WEDNESDAY = date(2026, 11, 25)


@pytest.fixture(scope="module")
def made() -> list[Order]:
    """All orders up to that Wednesday."""
    return orders(read("scenario"), WEDNESDAY, ZONE, seed=3)


def days(made: list[Order]) -> list[datetime]:
    """When they came, by the laboratory's clock."""
    return [datetime.fromtimestamp(order.created, ZONE) for order in made]


def test_about_fifty_cases_come_on_a_working_day_of_eight_weeks(made: list[Order]) -> None:
    count = Counter(day.date() for day in days(made))
    assert min(count) == date(2026, 9, 28)
    assert len(count) == 8 * 5 + 3
    assert {day.weekday() for day in count} == set(range(5))
    assert 45 <= sum(count.values()) / len(count) <= 52


def test_they_come_in_the_order_of_time_within_waking_hours(made: list[Order]) -> None:
    assert [order.created for order in made] == sorted(order.created for order in made)
    assert {6, 20} >= {min(day.hour for day in days(made)), max(day.hour for day in days(made))}


def test_every_product_practice_and_make_occurs(made: list[Order]) -> None:
    assert {order.practice for order in made} == set(range(len(read("scenario")["practices"])))
    assert {piece.make for order in made for piece in order.pieces} <= set(Make.values)
    assert {order.stage for order in made} == {"provisional", "final"}
    positions = Counter(len({piece.tooth for piece in order.pieces}) for order in made)
    assert positions[1] > positions[2] > positions[3] > 0


def test_teeth_are_permanent_and_no_third_molars(made: list[Order]) -> None:
    teeth = {piece.tooth for order in made for piece in order.pieces}
    assert teeth <= set(PERMANENT) - {18, 28, 38, 48}
    assert len(teeth) == 28


def test_questions_come_up_as_often_as_the_scenario_says(made: list[Order]) -> None:
    share = sum(order.hold is not None for order in made) / len(made)
    assert share == pytest.approx(read("scenario")["demand"]["hold_share"], abs=0.03)


def test_the_same_seed_has_the_same_orders(made: list[Order]) -> None:
    again = orders(read("scenario"), WEDNESDAY, ZONE, seed=3)
    assert again == made
    assert orders(read("scenario"), WEDNESDAY, ZONE, seed=4) != made
