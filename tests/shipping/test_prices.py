"""The price list: the price of a day, in the laboratory's currency, and a clear word where there is none."""

from datetime import date

import pytest
from django.conf import LazySettings

from labqueue.base import audit
from labqueue.base.errors import Conflict, Refusal
from orders.makes import Make
from shipping import prices
from shipping.models import Price
from tests import cast

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 2)


def price_at(code: str, day: date) -> Price:
    """What one unit costs on that day."""
    return prices.priced(prices.price_list(day), code, day)


def row(minor: int, valid_from: date) -> dict[str, object]:
    """A row of a price file."""
    return {"code": "screw", "label": "Clinical screw", "minor": minor, "valid_from": valid_from}


def test_the_demonstration_has_a_price_for_every_make_and_part() -> None:
    prices.load(cast.laboratory())
    assert {*Make.values, "titanium_base", "screw", "courier"} == set(prices.price_list(DAY))
    assert price_at("zirconia_crown", DAY).minor == 13_000


def test_loading_twice_changes_nothing() -> None:
    prices.load(cast.laboratory())
    before = list(Price.objects.values_list("code", "minor", "valid_from"))
    prices.load(cast.laboratory())
    assert list(Price.objects.values_list("code", "minor", "valid_from")) == before


@pytest.mark.parametrize(
    ("day", "minor"),
    [(date(2025, 12, 31), 2500), (date(2026, 1, 1), 2600), (date(2026, 6, 30), 2600), (date(2026, 7, 1), 2700)],
)
def test_a_price_is_valid_from_its_day_on(day: date, minor: int) -> None:
    dated = [row(2700, date(2026, 7, 1)), row(2500, date(2025, 1, 1)), row(2600, date(2026, 1, 1))]
    prices.load({"prices": dated})
    assert price_at("screw", day).minor == minor


def test_before_its_first_day_a_price_does_not_exist() -> None:
    prices.load({"prices": [row(2500, date(2026, 3, 3))]})
    with pytest.raises(Conflict, match="no price in USD for “screw” on 2026-03-02") as refused:
        price_at("screw", DAY)
    assert refused.value.faults[0].field == "prices"


def test_a_price_in_another_currency_does_not_count(settings: LazySettings) -> None:
    prices.load({"prices": [row(2500, DAY)]})
    settings.CURRENCY = "EUR"
    with pytest.raises(Conflict, match="in EUR"):
        price_at("screw", DAY)


def test_a_new_price_leaves_an_audit_event() -> None:
    prices.load({"prices": [row(2500, DAY)]}, cast.manager())
    event = audit.trail(Price.objects.get())[0]
    assert (event.verb, event.actor, event.after["minor"]) == ("new price", cast.manager(), 2500)
    prices.load({"prices": [row(2500, DAY)]}, cast.manager())
    assert len(audit.trail(Price.objects.get())) == 1


def test_a_label_may_be_worded_anew() -> None:
    prices.load({"prices": [row(2500, DAY)]})
    prices.load({"prices": [{**row(2500, DAY), "label": "Screw"}]})
    price = Price.objects.get()
    assert (price.label, price.minor) == ("Screw", 2500)
    assert [event.verb for event in audit.trail(price)] == ["new price", "new label"]


def test_an_amount_is_never_changed_and_nothing_was_written() -> None:
    prices.load({"prices": [row(2500, DAY)]})
    why = "“screw” costs 25.00 USD from 2026-03-02 on, and that is never changed. Add a row with 26.00 USD"
    with pytest.raises(Refusal, match=why) as refused:
        prices.load({"prices": [row(2700, date(2026, 7, 1)), row(2600, DAY)]})
    assert refused.value.faults[0].field == "prices.1.minor"
    assert list(Price.objects.values_list("minor", flat=True)) == [2500]
