"""What things cost, and from which day on: a price is never changed, a new one is added with its day."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from django.conf import settings
from django.db import transaction

from labqueue.base import audit
from labqueue.base.errors import Conflict, Fault, Refusal, refuse
from labqueue.base.models import User
from labqueue.base.money import Money
from shipping.models import Price

COURIER = "courier"
SINCE_EVER = date(2000, 1, 1)


@transaction.atomic
def load(data: Mapping[str, Any], actor: User | None = None) -> None:
    """Take in the `prices` of a laboratory's file: rows of code, label and minor, with valid_from where it is not old.

    The same file twice changes nothing; a label may be worded anew. Raises Refusal where a price would be changed, and
    then takes in nothing.
    """
    faults = [fault for index, row in enumerate(data.get("prices", [])) for fault in take_in(row, index, actor)]
    if faults:
        raise Refusal(faults)


def take_in(row: Mapping[str, Any], index: int, actor: User | None) -> list[Fault]:
    """Add one price with its audit event, or say why not."""
    key = {"code": row["code"], "currency": settings.CURRENCY, "valid_from": row.get("valid_from", SINCE_EVER)}
    amount = {"label": row["label"], "minor": row["minor"]}
    price, is_new = Price.objects.get_or_create(**key, defaults=amount)
    if is_new:
        audit.record(price, "new price", actor, after={**key, **amount})
        return []
    if price.minor != row["minor"]:
        return [changed(price, row["minor"], f"prices.{index}.minor")]
    if price.label != row["label"]:
        audit.record(price, "new label", actor, before={"label": price.label}, after={"label": row["label"]})
        Price.objects.filter(pk=price.pk).update(label=row["label"])
    return []


def changed(price: Price, minor: int, field: str) -> Fault:
    """Why a price keeps its amount."""
    was, wanted = (str(Money(amount, price.currency)) for amount in (price.minor, minor))
    why = f"“{price.code}” costs {was} from {price.valid_from} on, and that is never changed."
    return Fault("price", f"{why} Add a row with {wanted} and the day from which it counts as a new valid_from.", field)


def price_list(day: date) -> dict[str, Price]:
    """Every price that is valid on `day`, by its code, in the laboratory's currency."""
    rows = Price.objects.filter(currency=settings.CURRENCY, valid_from__lte=day).order_by("valid_from")
    return {price.code: price for price in rows}


def priced(known: Mapping[str, Price], code: str, day: date) -> Price:
    """The price of `code` out of the list of `day`. Raises Conflict where it is not there."""
    if code not in known:
        why = f"There is no price in {settings.CURRENCY} for “{code}” on {day:%Y-%m-%d}. Add one that is valid then."
        raise refuse("price", why, "prices", kind=Conflict)
    return known[code]
