"""The demonstration's boxes: billed without gaps, with papers that say what the verbs would have said."""

from collections import defaultdict
from datetime import timedelta

import pytest
from django.db.models import F, OuterRef, Q, Subquery, Sum
from django.utils import timezone

from labqueue.base import files, outbox
from labqueue.base.models import Event, OutboxRow, Series
from labqueue.base.money import Money
from orders.due import PICK_UP
from orders.models import Case
from shipping import invoicing
from shipping.contents import contents
from shipping.models import Delivery, Invoice, InvoiceLine, Paper
from shipping.slip_facts import slip_facts

pytestmark = pytest.mark.django_db


def sample() -> list[Delivery]:
    """Deliveries of all weeks, with their invoices."""
    billed = Delivery.objects.filter(invoice__isnull=False).order_by("pk")
    return list(billed.select_related("case__practice", "case__current__signed_by__user", "invoice"))[::150]


def test_a_box_stands_where_its_case_stands() -> None:
    boxes = Delivery.objects.values_list("case", "state")
    cases = Case.objects.filter(state__in=("packed", "shipped")).values_list("pk", "state")
    assert set(boxes) == set(cases)
    assert not Delivery.objects.filter(packed_at__lt=F("case__finished_at")).exists()
    assert not Delivery.objects.exclude(shipped_at=F("case__shipped_at")).exclude(state="packed").exists()


def test_boxes_leave_with_the_courier_of_a_working_day() -> None:
    left = [
        timezone.localtime(at) for at in Delivery.objects.filter(state="shipped").values_list("shipped_at", flat=True)
    ]
    assert {at.time() for at in left} == {PICK_UP}
    assert {at.weekday() for at in left} <= set(range(5))


def test_what_has_left_is_billed_and_nothing_else() -> None:
    billed = set(Invoice.objects.values_list("delivery", flat=True))
    assert billed == set(Delivery.objects.filter(state="shipped").values_list("pk", flat=True))
    assert not Invoice.objects.exclude(practice=F("delivery__case__practice")).exists()
    assert not Invoice.objects.exclude(issued_at=F("delivery__shipped_at")).exists()


def test_invoice_numbers_have_no_gap_in_either_year() -> None:
    serials = defaultdict(list)
    invoices = Invoice.objects.order_by("issued_at", "serial")
    for invoice in invoices:
        year = timezone.localtime(invoice.issued_at).year
        assert invoice.number == f"INV-{year}-{invoice.serial:05d}"
        assert invoice.series == f"invoice/{year}"
        serials[invoice.series].append(invoice.serial)
    assert set(serials) == {"invoice/2026", "invoice/2027"}
    assert all(numbers == list(range(1, len(numbers) + 1)) for numbers in serials.values())
    series = dict(Series.objects.filter(name__startswith="invoice/").values_list("name", "last"))
    assert series == {name: len(numbers) for name, numbers in serials.items()}


def test_totals_add_up() -> None:
    net = InvoiceLine.objects.filter(invoice=OuterRef("pk")).order_by().values("invoice").annotate(sum=Sum("net_minor"))
    invoices = Invoice.objects.annotate(lines_net=Subquery(net.values("sum")))
    assert invoices.filter(net_minor__gt=0).count() == invoices.count() > 1500
    assert not invoices.exclude(net_minor=F("lines_net")).exists()
    assert not invoices.exclude(gross_minor=F("net_minor") + F("tax_minor")).exists()
    rates = {(i.tax_minor, Money(i.net_minor, i.currency).share(i.tax_rate).minor) for i in invoices}
    assert [pair for pair in rates if pair[0] != pair[1]] == []


def test_invoices_bill_what_dispatch_would_bill() -> None:
    deliveries = sample()
    assert len(deliveries) >= 10
    for delivery in deliveries:
        wanted = invoicing.lines_of(delivery.case, contents(delivery.case))
        lines = delivery.invoice.lines.all()
        kept = [invoicing.Line(line.code, line.text, line.quantity, line.unit_minor) for line in lines]
        assert kept == wanted
        assert [line.line for line in lines] == list(range(1, len(lines) + 1))


def test_papers_say_what_the_rows_say() -> None:
    for delivery in sample():
        facts = dict(Paper.objects.filter(delivery=delivery).values_list("kind", "facts"))
        inside = contents(delivery.case)
        rows = list(delivery.invoice.lines.all())
        assert facts == {
            "slip": slip_facts(delivery),
            "invoice": invoicing.invoice_facts(delivery.invoice, rows, inside),
        }


def test_every_paper_waits_for_a_worker_the_fresh_ones_first() -> None:
    papers = {f"paper:{pk}": at for pk, at in Paper.objects.values_list("pk", "created_at")}
    rows = list(OutboxRow.objects.filter(kind="paper"))
    assert {row.subject for row in rows} == set(papers)
    assert {row.state for row in rows} == {"queued"}
    now = timezone.now()
    at_once = {row.subject for row in rows if row.due_at <= now}
    # The clock goes on while tests run, and with it older ones become due.
    assert {subject for subject, at in papers.items() if at >= now - timedelta(days=2)} <= at_once
    assert 0 < len(at_once) < len(rows) / 5
    assert max(row.due_at for row in rows) < now + timedelta(hours=2)
    kinds = Paper.objects.values_list("kind", "delivery__state").distinct().order_by()
    assert set(kinds) == {("slip", "packed"), ("slip", "shipped"), ("invoice", "shipped")}


@pytest.mark.parametrize("kind", ["slip", "invoice"])
def test_a_worker_can_print_them(kind: str) -> None:
    paper = Paper.objects.filter(kind=kind).latest("pk")
    assert outbox.run(OutboxRow.objects.get(subject=f"paper:{paper.pk}").pk)
    paper.refresh_from_db()
    with files.open_file(paper.file) as file:
        assert file.read().startswith(b"%PDF")


def test_events_of_boxes_and_invoices_are_those_of_the_verbs() -> None:
    delivery = sample()[0]
    chains = {f"shipping.delivery:{delivery.pk}": "shipped", f"shipping.invoice:{delivery.invoice.pk}": "issued"}
    events = {e.chain.name: e for e in Event.objects.filter(chain__name__in=chains).select_related("chain")}
    assert {name: event.verb for name, event in events.items()} == chains
    shipped, issued = (events[name] for name in chains)
    assert (shipped.before["state"], shipped.after["state"]) == ("packed", "shipped")
    assert issued.after["number"] == delivery.invoice.number
    assert {event.at for event in events.values()} == {delivery.shipped_at}
    assert not Invoice.objects.filter(Q(exemption="") & Q(tax_rate=0)).exists()
