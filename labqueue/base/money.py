"""Amounts of money: whole minor units (cents), rounded half up once and in one place."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from labqueue.base.currencies import EXPONENTS

BASIS_POINTS = 10_000


@dataclass(frozen=True)
class Money:
    """`minor` units of `currency`; adding two currencies raises ValueError."""

    minor: int
    currency: str

    def __add__(self, other: "Money") -> "Money":
        if other.currency != self.currency:
            raise ValueError(f"{self.currency} and {other.currency} cannot be added")
        return Money(self.minor + other.minor, self.currency)

    def __str__(self) -> str:
        """For people: `1,234.50 USD`."""
        digits = EXPONENTS[self.currency]
        return f"{Decimal(self.minor).scaleb(-digits):,.{digits}f} {self.currency}"

    def share(self, basis_points: int) -> "Money":
        """That many hundredths of a per cent of the amount, half up, away from zero."""
        exact = Decimal(self.minor * basis_points) / BASIS_POINTS
        return Money(int(exact.quantize(Decimal(1), ROUND_HALF_UP)), self.currency)


def total(amounts: Iterable[Money], currency: str) -> Money:
    """The sum; zero of `currency` for none."""
    return sum(amounts, Money(0, currency))
