"""What things cost, and from which day on: a price is never changed, a new one is added with its day."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.conf import settings

from labqueue.base.errors import Conflict, refuse
from shipping.models import Price

COURIER = "courier"
SINCE_EVER = date(2000, 1, 1)


def load(data: Mapping[str, Any]) -> None:
    """Take in the `prices` of a laboratory's file: rows of code, label and minor, with valid_from where it is not old.

    The same file twice changes nothing.
    """
    for row in data.get("prices", []):
        key = {"code": row["code"], "currency": settings.CURRENCY, "valid_from": row.get("valid_from", SINCE_EVER)}
        Price.objects.update_or_create(**key, defaults={"label": row["label"], "minor": row["minor"]})


def price_list(day: date) -> dict[str, Price]:
    """Every price that is valid on `day`, by its code, in the laboratory's currency."""
    rows = Price.objects.filter(currency=settings.CURRENCY, valid_from__lte=day).order_by("valid_from")
    return {price.code: price for price in rows}


def price_at(code: str, day: date) -> Price:
    """What one unit costs on `day`. Raises Conflict where the list has no price for it."""
    return priced(price_list(day), code, day)


def priced(known: Mapping[str, Price], code: str, day: date) -> Price:
    """The price of `code` out of the list of `day`. Raises Conflict where it is not there."""
    if code not in known:
        why = f"There is no price in {settings.CURRENCY} for “{code}” on {day:%Y-%m-%d}. Add one that is valid then."
        raise refuse("price", why, "prices", kind=Conflict)
    return known[code]
