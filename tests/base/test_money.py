"""Whole minor units, rounded half up once."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labqueue.base.money import Money, total


def test_amounts_of_one_currency_add_up() -> None:
    assert Money(1250, "USD") + Money(-250, "USD") == Money(1000, "USD")
    assert total([Money(1, "EUR"), Money(2, "EUR"), Money(3, "EUR")], "EUR") == Money(6, "EUR")
    assert total([], "EUR") == Money(0, "EUR")


def test_two_currencies_do_not_add_up() -> None:
    with pytest.raises(ValueError, match="USD and EUR cannot be added"):
        Money(1, "USD") + Money(1, "EUR")
    with pytest.raises(ValueError, match="cannot be added"):
        total([Money(1, "USD")], "EUR")


def test_amounts_cannot_be_changed() -> None:
    with pytest.raises(AttributeError):
        Money(1, "USD").minor = 2  # type: ignore[misc]


@pytest.mark.parametrize(
    ("minor", "currency", "shown"),
    [
        (123450, "USD", "1,234.50 USD"),
        (5, "EUR", "0.05 EUR"),
        (0, "EUR", "0.00 EUR"),
        (-123456, "EUR", "-1,234.56 EUR"),
        (1234, "JPY", "1,234 JPY"),
        (1234567, "KWD", "1,234.567 KWD"),
        (1200000, "VND", "1,200,000 VND"),
        (1234567, "OMR", "1,234.567 OMR"),
        (5, "XOF", "5 XOF"),
        (1234567, "CLF", "123.4567 CLF"),
    ],
)
def test_shown_with_the_decimals_of_the_currency(minor: int, currency: str, shown: str) -> None:
    assert str(Money(minor, currency)) == shown


@pytest.mark.parametrize(
    ("minor", "basis_points", "share"),
    [
        (1000, 2500, 250),
        (5, 1000, 1),  # 0.5 up
        (15, 1000, 2),  # 1.5 up
        (25, 1000, 3),  # 2.5 up, where half-even would give 2
        (-5, 1000, -1),
        (-25, 1000, -3),
        (-171050, 1900, -32500),  # a credit note of 1710.50 at 19 %
        (14, 1000, 1),
        (7499, 0, 0),
    ],
)
def test_share_is_rounded_half_up_away_from_zero(minor: int, basis_points: int, share: int) -> None:
    assert Money(minor, "EUR").share(basis_points) == Money(share, "EUR")


@given(st.integers(-(10**15), 10**15), st.integers(0, 10_000))
def test_share_is_never_off_by_more_than_half_a_unit_and_mirrors_its_sign(minor: int, basis_points: int) -> None:
    share = Money(minor, "EUR").share(basis_points).minor
    exact = Fraction(minor * basis_points, 10_000)
    assert abs(share - exact) <= Fraction(1, 2)
    assert abs(share - exact) != Fraction(1, 2) or abs(share) > abs(exact)
    assert Money(-minor, "EUR").share(basis_points).minor == -share
