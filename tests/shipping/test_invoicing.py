"""Invoices: right amounts, prices of the day of acceptance, one per delivery, frozen once issued."""

from datetime import UTC, date, datetime

import pytest
import time_machine
from django.conf import LazySettings
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.db.transaction import TransactionManagementError

from labqueue.base.errors import Conflict
from labqueue.base.models import Series
from orders.models import Case
from shipping import prices
from shipping.invoicing import issue, price_day
from shipping.models import Invoice, Paper, Price
from tests import cast
from tests.orders.build import abutment, crown, screw_crown
from tests.shipping.build import invoice, packed, paper_of, shipped

pytestmark = pytest.mark.django_db
BOX = [abutment("8"), crown("8"), screw_crown("9")]


def lines(of: Invoice) -> list[tuple[str, int, int, int]]:
    """Code, quantity, price and net of every line."""
    return [(row.code, row.quantity, row.unit_minor, row.net_minor) for row in of.lines.all()]


def test_pieces_parts_and_courier_are_billed() -> None:
    issued = invoice(items=BOX)
    assert lines(issued) == [
        ("metal_abutment", 1, 21_000, 21_000),
        ("zirconia_crown", 1, 13_000, 13_000),
        ("zirconia_screw_crown", 1, 19_000, 19_000),
        ("screw", 2, 2_500, 5_000),
        ("titanium_base", 1, 5_500, 5_500),
        ("courier", 1, 900, 900),
    ]
    assert (issued.net_minor, issued.tax_minor, issued.gross_minor) == (64_400, 0, 64_400)
    assert (issued.currency, issued.exemption) == ("USD", "dental prostheses from a dental laboratory")
    texts = [row.text for row in issued.lines.all()]
    assert texts[0] == "Milled metal abutment, tooth 8 Universal (11 FDI)"
    assert texts[3] == "Clinical screw, Corvane Clinical Screw, lot CS-90415"


def test_the_number_says_the_year_and_has_five_digits() -> None:
    with time_machine.travel(datetime(2027, 1, 1, 4, 59, tzinfo=UTC), tick=False):
        issued = invoice(items=[abutment()])
    assert (issued.number, issued.series, issued.serial) == ("INV-2026-00001", "invoice/2026", 1)


def test_numbers_follow_each_other_without_a_gap() -> None:
    first, second = invoice(items=[abutment("8")]), invoice(items=[abutment("9")])
    assert [first.serial, second.serial] == [1, 2]


@pytest.mark.parametrize(("rate", "tax"), [(0, 0), (1900, 4636), (825, 2013), (10_000, 24_400), (1, 2)])
def test_tax_is_taken_once_from_the_whole(settings: LazySettings, rate: int, tax: int) -> None:
    settings.LAB_TAX_RATE = rate
    issued = invoice(items=[abutment()])
    assert issued.net_minor == 21_000 + 2_500 + 900
    assert (issued.tax_rate, issued.tax_minor, issued.gross_minor) == (rate, tax, issued.net_minor + tax)
    assert bool(issued.exemption) == (rate == 0)


def test_half_a_cent_of_tax_is_rounded_up(settings: LazySettings) -> None:
    settings.LAB_TAX_RATE = 50
    prices.load({"prices": [{"code": "courier", "label": "Courier", "minor": 1_000, "valid_from": date(2001, 1, 1)}]})
    issued = invoice(items=[abutment()])
    assert (issued.net_minor, issued.tax_minor) == (24_500, 123)


def test_the_prices_are_those_of_the_day_of_acceptance() -> None:
    prices.load(cast.laboratory())
    delivery = packed(items=[abutment()])
    day = price_day(delivery.case)
    later = {"code": "metal_abutment", "label": "Dearer abutment", "minor": 99_900}
    prices.load({"prices": [{**later, "valid_from": day.replace(year=day.year + 1)}]})
    with transaction.atomic():
        assert lines(issue(cast.shipper(), delivery))[0] == ("metal_abutment", 1, 21_000, 21_000)


def test_the_day_of_acceptance_is_the_laboratorys() -> None:
    case = Case(number="2600001", accepted_at=datetime(2026, 3, 3, 4, 30, tzinfo=UTC))
    assert price_day(case).isoformat() == "2026-03-02"
    with pytest.raises(Conflict, match="never accepted"):
        price_day(Case(number="2600001"))


def test_what_is_printed_is_frozen_with_the_invoice() -> None:
    issued = invoice(items=[abutment()])
    facts = paper_of(issued.delivery, "invoice").facts
    assert facts["number"] == issued.number
    assert (facts["net"], facts["tax"], facts["gross"]) == ("244.00", "0.00", "244.00")
    assert facts["patient"] == "K-2041"
    assert facts["teeth"] == "8 Universal (11 FDI)"


def test_a_second_invoice_for_a_delivery_is_refused_by_the_verb() -> None:
    issued = invoice(items=[abutment()])
    with pytest.raises(Conflict, match=f"billed with {issued.number} already") as refused, transaction.atomic():
        issue(cast.shipper(), issued.delivery)
    assert refused.value.faults[0].field == "case"
    assert (Invoice.objects.count(), Paper.objects.filter(kind="invoice").count()) == (1, 1)
    assert Series.objects.get(name=issued.series).last == 1


def test_a_second_invoice_for_a_delivery_is_refused_by_the_database() -> None:
    issued = invoice(items=[abutment()])
    issued.pk, issued.number, issued.serial = None, "INV-2026-99999", 99_999
    with pytest.raises(IntegrityError), transaction.atomic():
        issued.save(force_insert=True)
    assert Invoice.objects.count() == 1


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE shipping_invoice SET net_minor = 1, gross_minor = 1",
        "DELETE FROM shipping_invoice",
        "UPDATE shipping_invoiceline SET text = 'nothing'",
        "DELETE FROM shipping_invoiceline",
    ],
)
def test_an_issued_invoice_can_be_neither_changed_nor_deleted(statement: str) -> None:
    issued = invoice(items=[abutment()])
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)
    issued.refresh_from_db()
    assert (issued.gross_minor, issued.lines.count()) == (24_400, 3)


@pytest.mark.parametrize("change", [{"net_minor": 1}, {"tax_minor": 5}, {"gross_minor": 0}])
def test_sums_that_do_not_add_up_do_not_come_into_the_database(change: dict[str, int]) -> None:
    delivery = packed(items=[abutment()])
    sums = {"net_minor": 100, "tax_minor": 19, "gross_minor": 119, **change}
    row = Invoice(number="INV-2026-00009", series="invoice/2026", serial=9, delivery=delivery, currency="USD", **sums)
    row.practice, row.issued_at, row.issued_by = delivery.case.practice, datetime.now(UTC), cast.shipper()
    with pytest.raises(IntegrityError), transaction.atomic():
        row.save()
    assert not Invoice.objects.exists()


def test_a_rolled_back_issue_gives_its_number_back() -> None:
    prices.load(cast.laboratory())
    delivery = packed(items=[abutment("8")])
    with transaction.atomic():
        assert issue(cast.shipper(), delivery).serial == 1
        transaction.set_rollback(True)
    assert not Invoice.objects.exists()
    assert invoice(items=[abutment("9")]).serial == 1


def test_a_price_list_that_changes_later_changes_no_invoice() -> None:
    issued = invoice(items=[abutment()])
    Price.objects.update(minor=1)
    assert Invoice.objects.get(pk=issued.pk).gross_minor == 24_400


def test_every_delivered_piece_is_on_the_invoice() -> None:
    delivery = shipped(items=BOX)
    billed = [row.text for row in delivery.invoice.lines.all() if ", tooth " in row.text]
    assert len(billed) == delivery.case.work_items.count()


@pytest.mark.django_db(transaction=True)
def test_nothing_is_issued_outside_a_transaction() -> None:
    prices.load(cast.laboratory())
    delivery = packed(items=[abutment()])
    with pytest.raises(TransactionManagementError):
        issue(cast.shipper(), delivery)
    assert not Invoice.objects.exists()
