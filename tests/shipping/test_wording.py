"""How facts are put into words on papers."""

from datetime import UTC, datetime

import pytest

from orders.models import Practice
from shipping import wording


@pytest.mark.parametrize(
    ("notation", "first", "second"),
    [("universal", "8 Universal", "11 FDI"), ("palmer", "UR1 Palmer", "11 FDI"), ("fdi", "11 FDI", "8 Universal")],
)
def test_a_tooth_is_always_printed_in_two_notations(notation: str, first: str, second: str) -> None:
    assert wording.tooth(11, notation) == (first, second)
    assert wording.both(11, notation) == f"{first} ({second})"


def test_a_day_is_that_of_the_laboratory() -> None:
    assert wording.day(datetime(2026, 11, 25, 3, 0, tzinfo=UTC)) == "Tue 24 Nov 2026"


def test_an_appointment_is_on_the_clock_of_the_practice() -> None:
    there = Practice(time_zone="America/Chicago")
    assert wording.appointment(datetime(2026, 11, 27, 15, 30, tzinfo=UTC), there) == "Fri 27 Nov 2026, 09:30"
    assert wording.appointment(None, there) == ""


@pytest.mark.parametrize(
    ("rate", "exemption", "words"),
    [(0, "dental work", "Tax 0 %: dental work"), (0, "", "Tax 0 %"), (825, "", "Tax 8.25 %"), (1900, "x", "Tax 19 %")],
)
def test_tax_in_words(rate: int, exemption: str, words: str) -> None:
    assert wording.tax(rate, exemption) == words


def test_an_amount_stands_without_its_currency() -> None:
    assert wording.amount(123_450, "USD") == "1,234.50"
    assert wording.amount(1_234, "JPY") == "1,234"
