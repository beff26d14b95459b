"""`manage.py verify` finds what somebody changed in the database itself, past the triggers."""

import io
import re

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from labqueue.base.models import Event, Series
from orders.models import Prescription
from orders.signoff import amend, sign
from shipping.models import Invoice
from tests import cast
from tests.orders.build import abutment, signed_case
from tests.shipping.build import shipped

pytestmark = pytest.mark.django_db


def verify() -> str:
    """What the command says."""
    said = io.StringIO()
    call_command("verify", stdout=said)
    return said.getvalue()


def tamper(table: str, change: str) -> None:
    """Change a table as its owner can: the triggers of the table are taken away first."""
    with connection.cursor() as cursor:
        for name in ("update", "delete"):
            on = f" ON {table}" if connection.vendor == "postgresql" else ""
            cursor.execute(f"DROP TRIGGER IF EXISTS {table}_no_{name}{on}")
        cursor.execute(change)


def test_an_empty_house_holds() -> None:
    assert verify().count("all hold") == 4


def test_true_records_hold() -> None:
    shipped(items=[abutment("8")])
    shipped(items=[abutment("9")])
    case = signed_case()
    amend(cast.prescriber(), case)
    case.refresh_from_db()
    sign(cast.prescriber(), case)
    assert Prescription.objects.filter(case=case).count() == 2
    assert verify().count("all hold") == 4


@pytest.mark.parametrize(
    ("table", "change", "said"),
    [
        ("base_event", "UPDATE base_event SET verb = 'x' WHERE id = {event}", "Audit chains: chain .*changed"),
        ("base_event", "DELETE FROM base_event WHERE id = {event}", "Audit chains: chain .*missing"),
        (
            "orders_prescription",
            "UPDATE orders_prescription SET note = 'x'",
            "Seals of prescriptions: case .* version 1",
        ),
        ("orders_item", "UPDATE orders_item SET shade = 'X9'", "Seals of prescriptions: case .* version 1"),
        ("base_series", "UPDATE base_series SET last = 3 WHERE name LIKE 'invoice/%%'", "Numbers .*: 3 drawn, 1 there"),
        ("shipping_invoice", "UPDATE shipping_invoice SET serial = 2", "Numbers .*: 1 drawn, 1 there, the last is 2"),
        ("shipping_invoice", "UPDATE shipping_invoice SET tax_minor = 5, gross_minor = gross_minor + 5", "Sums .*INV-"),
        ("shipping_invoiceline", "DELETE FROM shipping_invoiceline WHERE line = 1", "Sums of invoices: invoice INV-"),
    ],
)
def test_the_first_break_is_said(table: str, change: str, said: str) -> None:
    shipped(items=[abutment()])
    event = Event.objects.order_by("-pk").values_list("pk", flat=True)[0]
    tamper(table, change.format(event=event).replace("%%", "%"))
    with pytest.raises(CommandError) as broken:
        verify()
    assert re.match(said, str(broken.value)), str(broken.value)
    assert broken.value.returncode == 1


def test_a_series_that_was_lost_is_said() -> None:
    shipped(items=[abutment()])
    series = Invoice.objects.get().series
    Series.objects.filter(name=series).delete()
    with pytest.raises(CommandError, match=f"series {series}: 0 drawn, 1 there"):
        verify()
