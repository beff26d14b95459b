"""Issuing the invoice of a delivery: prices of the day on which the case was accepted, one gapless number."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.conf import settings
from django.utils import timezone

from labqueue.base import audit, transactions
from labqueue.base.errors import Conflict, refuse
from labqueue.base.models import User
from labqueue.base.money import Money
from labqueue.base.numbers import next_number
from orders.models import Case
from shipping import wording
from shipping.contents import Content, contents, parts
from shipping.models import Delivery, Invoice, InvoiceLine, Paper, Price
from shipping.papers.invoice import InvoiceFacts
from shipping.prices import COURIER, price_list, priced
from shipping.tasks import ask_for


@dataclass(frozen=True)
class Line:
    """What is billed; `price` in minor units of the currency."""

    code: str
    text: str
    quantity: int
    price: int

    @property
    def net(self) -> int:
        """Quantity times price."""
        return self.quantity * self.price


def issue(actor: User, delivery: Delivery) -> Invoice:
    """Bill a delivery, in the caller's transaction and as its last act: the number's series stays locked to the commit.

    Raises Conflict where the delivery is billed already or a price is missing.
    """
    transactions.required("an invoice is issued in the transaction of its delivery")
    billed = Invoice.objects.filter(delivery=delivery).values_list("number", flat=True).first()
    if billed:
        why = f"The delivery of case {delivery.case.number} was billed with {billed} already. It is billed once."
        raise refuse("billed", why, "case", kind=Conflict)
    inside = contents(delivery.case)
    lines = lines_of(delivery.case, inside)
    net = Money(sum(line.net for line in lines), settings.CURRENCY)
    invoice = draw(actor, delivery, net)
    rows = [as_row(invoice, number, line) for number, line in enumerate(lines, 1)]
    InvoiceLine.objects.bulk_create(rows)
    facts = invoice_facts(invoice, rows, inside)
    ask_for(Paper.objects.create(kind=Paper.Kind.INVOICE, delivery=delivery, facts=facts))
    after = {"number": invoice.number, "gross": invoice.gross_minor, "currency": invoice.currency}
    audit.record(invoice, "issued", actor, after={**after, "case": delivery.case.number})
    return invoice


def lines_of(case: Case, inside: list[Content]) -> list[Line]:
    """What a case costs: its pieces, the parts that went into them by lot, the courier."""
    day = price_day(case)
    return list(lines_at(price_list(day), day, billed(inside, case.practice.notation)))


def billed(inside: list[Content], notation: str) -> list[tuple[str, str, int]]:
    """What is billed of a box: code, what follows the label, and quantity."""
    pieces = [(content.item.make, f", tooth {wording.both(content.item.tooth, notation)}", 1) for content in inside]
    lots = [(lot.what, f", {lot}", count) for lot, count in parts(inside).items()]
    return [*pieces, *lots, (COURIER, "", 1)]


def lines_at(known: dict[str, Price], day: date, wanted: Iterable[tuple[str, str, int]]) -> Iterable[Line]:
    """Code, what follows the label, and quantity, each with its price."""
    for code, more, quantity in wanted:
        price = priced(known, code, day)
        yield Line(code, price.label + more, quantity, price.minor)


def price_day(case: Case) -> date:
    """The laboratory's day on which the case was accepted: its prices were promised then."""
    if case.accepted_at is None:
        raise refuse("state", f"{case} was never accepted, so it has no prices.", "case", kind=Conflict)
    return timezone.localtime(case.accepted_at).date()


def draw(actor: User, delivery: Delivery, net: Money) -> Invoice:
    """The invoice with its number; tax is taken once, from the whole net, half up."""
    tax = net.share(settings.LAB_TAX_RATE)
    now = timezone.now()
    year = timezone.localtime(now).year
    series = f"invoice/{year}"
    serial = next_number(series)
    return Invoice.objects.create(
        number=f"INV-{year}-{serial:05d}",
        series=series,
        serial=serial,
        delivery=delivery,
        practice=delivery.case.practice,
        issued_at=now,
        issued_by=actor,
        currency=net.currency,
        net_minor=net.minor,
        tax_rate=settings.LAB_TAX_RATE,
        tax_minor=tax.minor,
        gross_minor=(net + tax).minor,
        exemption="" if settings.LAB_TAX_RATE else settings.LAB_TAX_EXEMPTION,
    )


def as_row(invoice: Invoice, number: int, line: Line) -> InvoiceLine:
    """A line as it is kept."""
    return InvoiceLine(
        invoice=invoice,
        line=number,
        code=line.code,
        text=line.text,
        quantity=line.quantity,
        unit_minor=line.price,
        net_minor=line.net,
    )


def invoice_facts(invoice: Invoice, rows: list[InvoiceLine], inside: list[Content]) -> InvoiceFacts:
    """Everything that the invoice says, as text."""
    delivery = invoice.delivery
    case, currency = delivery.case, invoice.currency
    teeth = dict.fromkeys(wording.both(content.item.tooth, case.practice.notation) for content in inside)
    return {
        "number": invoice.number,
        "issued": wording.day(invoice.issued_at),
        "delivered": wording.day(delivery.shipped_at or invoice.issued_at),
        "case": case.number,
        "patient": case.patient_ref,
        "teeth": ", ".join(teeth),
        "laboratory": wording.laboratory(),
        "practice": wording.house(case.practice),
        "lines": [
            {
                "line": row.line,
                "text": row.text,
                "quantity": row.quantity,
                "unit": wording.amount(row.unit_minor, currency),
                "net": wording.amount(row.net_minor, currency),
            }
            for row in rows
        ],
        "currency": currency,
        "net": wording.amount(invoice.net_minor, currency),
        "tax_text": wording.tax(invoice.tax_rate, invoice.exemption),
        "tax": wording.amount(invoice.tax_minor, currency),
        "gross": wording.amount(invoice.gross_minor, currency),
    }
