"""What leaves the house: deliveries, the papers that go with them, prices and invoices."""

from django.db import models
from django.db.models import F, Q

from labqueue.base.models import User
from labqueue.base.money import Money
from orders.models import Case, Practice


class Delivery(models.Model):
    """One case in one box."""

    class State(models.TextChoices):
        PACKED = "packed", "Packed"
        SHIPPED = "shipped", "Shipped"

    case = models.OneToOneField(Case, on_delete=models.PROTECT, related_name="delivery")
    state = models.CharField(max_length=8, choices=State.choices, default=State.PACKED)
    packed_at = models.DateTimeField()
    packed_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    shipped_at = models.DateTimeField(null=True, blank=True)
    shipped_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")
    carrier = models.CharField(max_length=40, blank=True)
    tracking = models.CharField(max_length=40, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(state="packed", shipped_at__isnull=True) | Q(state="shipped", shipped_at__isnull=False),
                name="delivery_times_fit_state",
            )
        ]

    def __str__(self) -> str:
        return f"Delivery of case {self.case.number}"


class Price(models.Model):
    """What one unit costs from a day on, in minor units. `code` is a make, a part or a service."""

    code = models.CharField(max_length=24)
    label = models.CharField(max_length=80)
    minor = models.PositiveIntegerField()
    currency = models.CharField(max_length=3)
    valid_from = models.DateField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["code", "currency", "valid_from"], name="price_once_per_day")]


class Invoice(models.Model):
    """An issued invoice. Append-only; every amount in minor units of `currency`."""

    number = models.CharField(max_length=14, unique=True)
    series = models.CharField(max_length=20)
    serial = models.PositiveIntegerField()
    delivery = models.OneToOneField(Delivery, on_delete=models.PROTECT, related_name="invoice")
    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, related_name="invoices")
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    currency = models.CharField(max_length=3)
    net_minor = models.PositiveIntegerField()
    # In hundredths of a per cent.
    tax_rate = models.PositiveIntegerField(default=0)
    tax_minor = models.PositiveIntegerField()
    gross_minor = models.PositiveIntegerField()
    exemption = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(fields=["series", "serial"], name="invoice_serial_once"),
            models.CheckConstraint(condition=Q(gross_minor=F("net_minor") + F("tax_minor")), name="gross_adds_up"),
        ]

    def __str__(self) -> str:
        return f"Invoice {self.number}"

    @property
    def gross(self) -> Money:
        """What is to be paid."""
        return Money(self.gross_minor, self.currency)


class InvoiceLine(models.Model):
    """One line of an invoice. Append-only."""

    invoice = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="lines")
    line = models.PositiveSmallIntegerField()
    code = models.CharField(max_length=24)
    text = models.CharField(max_length=200)
    quantity = models.PositiveSmallIntegerField()
    unit_minor = models.PositiveIntegerField()
    net_minor = models.PositiveIntegerField()

    class Meta:
        ordering = ["invoice_id", "line"]
        constraints = [
            models.UniqueConstraint(fields=["invoice", "line"], name="invoice_line_once"),
            models.CheckConstraint(condition=Q(net_minor=F("quantity") * F("unit_minor")), name="line_adds_up"),
        ]


class Paper(models.Model):
    """A printed paper: its facts are frozen first, the PDF is rendered from them by a worker and kept."""

    class Kind(models.TextChoices):
        SLIP = "slip", "Case slip"
        INVOICE = "invoice", "Invoice"

    kind = models.CharField(max_length=8, choices=Kind.choices)
    delivery = models.ForeignKey(Delivery, on_delete=models.PROTECT, related_name="papers")
    facts = models.JSONField()
    created_at = models.DateTimeField(auto_now_add=True)
    file = models.CharField(max_length=120, blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    size = models.PositiveIntegerField(default=0)
    made_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["kind", "delivery"], name="one_paper_of_a_kind"),
            models.CheckConstraint(
                condition=Q(made_at__isnull=True, file="") | (Q(made_at__isnull=False) & ~Q(file="")),
                name="paper_made_has_file",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of case {self.delivery.case.number}"

    @property
    def ready(self) -> bool:
        """Whether the file is there."""
        return self.made_at is not None

    @property
    def given_up(self) -> bool:
        """Whether the worker could not make it; known where it was read with `shipping.tasks.with_fate`."""
        return not self.ready and bool(getattr(self, "set_aside", False))

    @property
    def filename(self) -> str:
        """What the file is called for those who download it: nothing in it speaks of the patient."""
        return f"{self.kind}-{self.delivery.case.number}.pdf"
