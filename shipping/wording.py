"""How facts are put into words on papers. What is printed is frozen as text, so that no later change shows through."""

from datetime import datetime
from zoneinfo import ZoneInfo

from django.conf import settings
from django.utils import timezone

from labqueue.base.money import Money
from orders import teeth
from orders.models import Practice
from orders.teeth import Notation
from shipping.papers.slip import Address


def day(at: datetime) -> str:
    """A day of the laboratory: `Tue 24 Nov 2026`."""
    return timezone.localtime(at).strftime("%a %-d %b %Y")


def appointment(at: datetime | None, practice: Practice) -> str:
    """An appointment on the practice's own clock: `Fri 27 Nov 2026, 10:30`; empty where there is none."""
    return at.astimezone(ZoneInfo(practice.time_zone)).strftime("%a %-d %b %Y, %H:%M") if at else ""


def laboratory() -> Address:
    """Who made it."""
    registration = f"Registration: {settings.LAB_REGISTRATION}"
    return {"name": settings.LAB_NAME, "address": settings.LAB_ADDRESS, "extra": registration}


def house(practice: Practice) -> Address:
    """Who ordered it."""
    return {"name": practice.name, "address": practice.address, "extra": practice.phone}


def tooth(number: int, notation: str) -> tuple[str, str]:
    """A tooth in the practice's notation and in a second one: FDI, or Universal where the practice writes FDI."""
    second = Notation.UNIVERSAL if notation == Notation.FDI else Notation.FDI
    return _signed(number, notation), _signed(number, second)


def both(number: int, notation: str) -> str:
    """A tooth in both notations on one line: `8 Universal (11 FDI)`."""
    first, second = tooth(number, notation)
    return f"{first} ({second})"


def _signed(number: int, notation: str) -> str:
    return teeth.shown(number, notation).partition(",")[0]


def amount(minor: int, currency: str) -> str:
    """An amount without its currency: `1,234.50`."""
    return str(Money(minor, currency)).removesuffix(f" {currency}")


def tax(basis_points: int, exemption: str) -> str:
    """Which tax applies, or why there is none: `Tax 8.25 %`, `Tax 0 %: …`."""
    rate = f"Tax {basis_points / 100:g} %"
    return f"{rate}: {exemption}" if exemption and not basis_points else rate
