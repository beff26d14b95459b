"""Sending a box away: case, delivery and invoice change together, or not at all."""

import pytest
from django.db import DatabaseError, transaction

from labqueue.base.audit import trail
from labqueue.base.errors import Conflict, Forbidden, Refusal
from labqueue.base.models import Series
from orders.models import Case
from shipping import prices
from shipping.dispatch import dispatch
from shipping.models import Delivery, Invoice, Paper, Price
from tests import cast
from tests.production.build import finished_case
from tests.shipping.build import packed, shipped

pytestmark = pytest.mark.django_db


def nothing_left(delivery: Delivery) -> bool:
    """Whether a refused dispatch has left everything as it was: state, invoices, papers, and the number series."""
    fresh = Delivery.objects.select_related("case").get(pk=delivery.pk)
    billed = Invoice.objects.exists() or Paper.objects.filter(kind="invoice").exists()
    return (
        (fresh.state, fresh.case.state) == ("packed", "packed")
        and not billed
        and not Series.objects.filter(name__startswith="invoice")
    )


def test_a_box_leaves_with_its_invoice() -> None:
    delivery = shipped()
    assert (delivery.state, delivery.carrier, delivery.tracking) == ("shipped", "Harbour Courier", "HC-5521")
    case = Case.objects.get(pk=delivery.case_id)
    assert (case.state, case.shipped_at) == ("shipped", delivery.shipped_at)
    assert Invoice.objects.get().delivery == delivery
    assert trail(case)[-1].verb == "shipped"
    assert trail(delivery)[-1].after["carrier"] == "Harbour Courier"
    assert trail(Invoice.objects.get())[-1].verb == "issued"


def test_a_tracking_number_is_not_needed() -> None:
    prices.load(cast.laboratory())
    assert dispatch(cast.shipper(), packed().case, "  Harbour\tCourier ").carrier == "Harbour Courier"


@pytest.mark.parametrize(
    ("carrier", "tracking", "fields"),
    [(" ", "", ["carrier"]), ("x" * 41, "", ["carrier"]), ("", "9" * 41, ["tracking", "carrier"])],
)
def test_words_that_do_not_do_are_refused_by_field(carrier: str, tracking: str, fields: list[str]) -> None:
    prices.load(cast.laboratory())
    delivery = packed()
    with pytest.raises(Refusal) as refused:
        dispatch(cast.shipper(), delivery.case, carrier, tracking)
    assert [fault.field for fault in refused.value.faults] == fields
    assert nothing_left(delivery)


def test_a_case_that_is_not_packed_is_refused() -> None:
    prices.load(cast.laboratory())
    case = finished_case()
    with pytest.raises(Conflict, match="Pack it first"):
        dispatch(cast.shipper(), case, "Harbour Courier")
    assert Case.objects.get(pk=case.pk).state == "finished"
    assert not Invoice.objects.exists()


def test_dispatching_twice_is_refused_and_bills_once() -> None:
    delivery = shipped()
    with pytest.raises(Conflict, match="shipped"):
        dispatch(cast.shipper(), delivery.case, "Harbour Courier")
    assert Invoice.objects.count() == 1
    assert Series.objects.get(name__startswith="invoice").last == 1


def test_a_missing_price_keeps_the_box_here() -> None:
    prices.load(cast.laboratory())
    Price.objects.filter(code="screw").delete()
    delivery = packed()
    with pytest.raises(Conflict, match="no price in USD for “screw”"):
        dispatch(cast.shipper(), delivery.case, "Harbour Courier")
    assert nothing_left(delivery)


def test_nobody_of_a_practice_ships() -> None:
    prices.load(cast.laboratory())
    delivery = packed()
    with pytest.raises(Forbidden):
        dispatch(cast.prescriber(), delivery.case, "Harbour Courier")
    assert nothing_left(delivery)


def test_a_box_that_has_left_is_frozen_in_the_database() -> None:
    delivery = shipped()
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        Delivery.objects.filter(pk=delivery.pk).update(carrier="Somebody Else")
    assert Delivery.objects.get(pk=delivery.pk).carrier == "Harbour Courier"
