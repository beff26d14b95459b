"""The demonstration's boxes: packed, picked up and billed, with their papers."""

from datetime import date, datetime, time, timedelta
from functools import cache
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings

from labqueue.base.models import OutboxRow
from labqueue.base.money import Money
from labqueue.base.workdays import Workdays, at
from labqueue.demo.history import Told
from labqueue.demo.ledger import Change, Ledger, moved
from labqueue.demo.people import Cast
from orders.due import PICK_UP
from orders.models import Case
from shipping import invoicing, tasks
from shipping.contents import Content
from shipping.models import Delivery, Invoice, Paper
from shipping.prices import price_list
from shipping.slip_facts import slip_facts

CARRIER = "Harbour Courier"
# A box that is closed later waits for the next courier.
LAST_BOX = time(16, 20)
# Papers of the last days are made at once; older ones one by one, so that the service is not busy with them.
FRESH = timedelta(days=2)


class Deliveries:
    """Packs what is finished, sends it with the next pick-up, and bills it."""

    def __init__(self, ledger: Ledger, cast: Cast, now: datetime) -> None:
        self.ledger, self.cast, self.now = ledger, cast, now
        self.prices = cache(price_list)
        self.zone = ZoneInfo(settings.TIME_ZONE)
        self.rng = Random(5)  # noqa: S311 - a demonstration, not a secret
        self.serials: dict[int, int] = {}
        self.late_papers = 0

    def pack(self, one: Told) -> Delivery | None:
        """Close the box a few minutes after the last piece lay in it; None where that is still to come."""
        packed_at = one.boxed_at and one.boxed_at + timedelta(minutes=self.rng.randint(2, 25))
        if packed_at is None or packed_at > self.now:
            return None
        person = self.rng.choice(self.cast.shipping)
        one.changes.append(moved(one.case, Case.State.PACKED, at=packed_at, verb="packed", actor=person))
        delivery = self.ledger.add(Delivery(case=one.case, packed_at=packed_at, packed_by=person))
        self._paper(Paper.Kind.SLIP, delivery, slip_facts(delivery, one.inside), packed_at)
        return delivery

    def send(self, delivery: Delivery, one: Told) -> None:
        """Hand the box over with the next pick-up and issue its invoice. Called in the order of the pick-ups."""
        at, person = self.pick_up(delivery.packed_at), delivery.packed_by
        if at > self.now:
            return
        left: dict[str, Any] = {"at": at, "verb": "shipped", "actor": person, "shipped_at": at}
        facts: dict[str, Any] = {"shipped_by": person, "carrier": CARRIER, "tracking": self._tracking()}
        self.ledger.seal(delivery, [moved(delivery, Delivery.State.SHIPPED, **left, **facts)])
        one.changes.append(moved(one.case, Case.State.SHIPPED, **left))
        self._bill(delivery, one.inside, at)

    def pick_up(self, packed_at: datetime) -> datetime:
        """When the courier comes next, for a box that is closed ten minutes before."""
        local = packed_at.astimezone(self.zone)
        day: date = local.date() if local.time() < LAST_BOX else local.date() + timedelta(days=1)
        return at(Workdays().on_or_after(day), PICK_UP, self.zone)

    def _tracking(self) -> str:
        return f"HC{self.rng.randrange(10**8):08d}"

    def _bill(self, delivery: Delivery, inside: list[Content], issued_at: datetime) -> None:
        lines = self._lines(delivery, inside)
        year = issued_at.astimezone(self.zone).year
        serial = self.serials[year] = self.serials.get(year, 0) + 1
        net = Money(sum(line.net for line in lines), settings.CURRENCY)
        invoice = Invoice(number=f"INV-{year}-{serial:05d}", series=f"invoice/{year}", serial=serial)
        invoice.delivery, invoice.practice, invoice.issued_at = delivery, delivery.case.practice, issued_at
        invoice.issued_by, invoice.currency, invoice.tax_rate = delivery.packed_by, net.currency, settings.LAB_TAX_RATE
        invoice.net_minor, invoice.tax_minor = net.minor, net.share(settings.LAB_TAX_RATE).minor
        invoice.gross_minor = invoice.net_minor + invoice.tax_minor
        invoice.exemption = "" if settings.LAB_TAX_RATE else settings.LAB_TAX_EXEMPTION
        self.ledger.add(invoice)
        rows = [self.ledger.add(invoicing.as_row(invoice, number, line)) for number, line in enumerate(lines, 1)]
        after = {"number": invoice.number, "gross": invoice.gross_minor, "currency": invoice.currency}
        after["case"] = delivery.case.number
        self.ledger.seal(invoice, [Change(issued_at, "issued", invoice.issued_by, after)])
        self._paper(Paper.Kind.INVOICE, delivery, invoicing.invoice_facts(invoice, rows, inside), issued_at)

    def _lines(self, delivery: Delivery, inside: list[Content]) -> list[invoicing.Line]:
        day = invoicing.price_day(delivery.case)
        wanted = invoicing.billed(inside, delivery.case.practice.notation)
        return list(invoicing.lines_at(self.prices(day), day, wanted))

    def _paper(self, kind: str, delivery: Delivery, facts: object, at: datetime) -> None:
        paper = self.ledger.add(Paper(kind=kind, delivery=delivery, facts=facts, created_at=at))
        due_at = self.now
        if at < self.now - FRESH:
            self.late_papers += 1
            due_at += timedelta(seconds=60 + self.late_papers)
        row = OutboxRow(kind=tasks.KIND, subject=f"paper:{paper.pk}", payload={"paper": paper.pk})
        row.due_at, row.created_at = due_at, at
        self.ledger.add(row)
