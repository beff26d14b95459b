"""Look through all records whether somebody has changed them behind the service's back."""

from collections.abc import Callable, Iterator
from typing import Any

from django.core.management import BaseCommand, CommandError
from django.db.models import Count, F, Max, Sum

from labqueue.base import audit
from labqueue.base.models import Chain, Series
from labqueue.base.money import Money
from orders import seal
from orders.models import Prescription
from shipping.models import Invoice, InvoiceLine

# The first part of the name of every series of invoices.
INVOICES = "invoice/"


class Command(BaseCommand):
    """`manage.py verify`; exit status 1 at the first record that does not hold."""

    help = "Check the audit chains, the seals of prescriptions, and the numbers and sums of invoices."

    def handle(self, *args: Any, **options: Any) -> None:
        """Print a line per kind of record. Raises CommandError, which names the first break."""
        for what, look in CHECKS.items():
            for broken in look():
                raise CommandError(f"{what}: {broken}")
            self.stdout.write(f"{what}: all hold")


def chains() -> Iterator[str]:
    """Audit events that were changed, removed or added."""
    # Their ids at once: a query that is still being read would keep SQLite from locking the head of a chain.
    for pk in list(Chain.objects.order_by("pk").values_list("pk", flat=True)):
        if (found := audit.verify(Chain(pk=pk))) is not None:
            yield f"chain {found.chain}, event {found.seq}: {found.why}"


def seals() -> Iterator[str]:
    """Signed prescriptions that say something else than what was signed."""
    signed = Prescription.objects.filter(signed_at__isnull=False).select_related("case__practice", "case__origin")
    for one in signed.prefetch_related("items", "reasons").order_by("pk").iterator(chunk_size=200):
        if one.hash != seal.seal(one.case, one):
            yield f"case {one.case.number}, version {one.version}: it is not what was signed"


def numbers() -> Iterator[str]:
    """Series of invoices with a gap, or without their end."""
    counted = Invoice.objects.order_by("series").values_list("series").annotate(Count("pk"), Max("serial"))
    found = {series: (count, last) for series, count, last in counted}
    drawn = dict(Series.objects.filter(name__startswith=INVOICES).order_by("name").values_list("name", "last"))
    for series in sorted(found.keys() | drawn.keys()):
        count, last = found.get(series, (0, 0))
        if count != drawn.get(series, 0) or count != last:
            yield f"series {series}: {drawn.get(series, 0)} drawn, {count} there, the last is {last}"


def sums() -> Iterator[str]:
    """Invoices whose lines, tax and gross do not add up."""
    for invoice in Invoice.objects.annotate(of_lines=Sum("lines__net_minor")).order_by("pk").iterator():
        net = Money(invoice.net_minor, invoice.currency)
        right = (invoice.of_lines, net.share(invoice.tax_rate).minor, invoice.net_minor + invoice.tax_minor)
        if right != (invoice.net_minor, invoice.tax_minor, invoice.gross_minor):
            yield f"invoice {invoice.number}: its lines, tax and gross do not add up"
    for line in InvoiceLine.objects.exclude(net_minor=F("quantity") * F("unit_minor")).select_related("invoice"):
        yield f"invoice {line.invoice.number}, line {line.line}: quantity times price is something else"


CHECKS: dict[str, Callable[[], Iterator[str]]] = {
    "Audit chains": chains,
    "Seals of prescriptions": seals,
    "Numbers of invoices": numbers,
    "Sums of invoices": sums,
}
