"""How shipping reads and prints for programs. Nothing here writes."""

from typing import Any

from django.urls import reverse
from rest_framework import serializers

from shipping.models import Delivery, Invoice, InvoiceLine, Paper
from shipping.reads import invoice_paper


class DispatchIn(serializers.Serializer[Any]):
    """Who takes the box."""

    carrier = serializers.CharField(max_length=40)
    tracking = serializers.CharField(max_length=40, required=False, default="", allow_blank=True)


class DeliveryOut(serializers.Serializer[Delivery]):
    """One case in one box."""

    case = serializers.CharField(source="case.number")
    state = serializers.CharField(help_text="packed or shipped")
    packed_at = serializers.DateTimeField()
    shipped_at = serializers.DateTimeField(allow_null=True)
    carrier = serializers.CharField()
    tracking = serializers.CharField()
    invoice = serializers.SerializerMethodField(help_text="The invoice's number; null before dispatch")

    def get_invoice(self, delivery: Delivery) -> str | None:
        """The number of the invoice."""
        invoice = getattr(delivery, "invoice", None)
        return invoice.number if invoice else None


class PaperOut(serializers.Serializer[Paper]):
    """One paper. While `ready` is false a worker makes it; ask again."""

    id = serializers.IntegerField()
    kind = serializers.CharField(help_text="slip or invoice")
    case = serializers.CharField(source="delivery.case.number")
    ready = serializers.BooleanField()
    file = serializers.SerializerMethodField(help_text="The address of the PDF; null until it is ready")
    filename = serializers.CharField()
    size = serializers.IntegerField(help_text="Bytes; 0 until it is ready")
    sha256 = serializers.CharField(help_text="Of the PDF; empty until it is ready")
    created_at = serializers.DateTimeField()
    made_at = serializers.DateTimeField(allow_null=True)

    def get_file(self, paper: Paper) -> str | None:
        """The path of the PDF."""
        return reverse("api:paper-file", args=[paper.pk]) if paper.ready else None


class InvoiceLineOut(serializers.Serializer[InvoiceLine]):
    """One line; amounts in minor units of the invoice's currency."""

    line = serializers.IntegerField()
    code = serializers.CharField()
    text = serializers.CharField()
    quantity = serializers.IntegerField()
    unit_minor = serializers.IntegerField()
    net_minor = serializers.IntegerField()


class InvoiceOut(serializers.Serializer[Invoice]):
    """One issued invoice; amounts in minor units of `currency`, the tax rate in hundredths of a per cent."""

    number = serializers.CharField()
    case = serializers.CharField(source="delivery.case.number")
    practice = serializers.CharField(source="practice.code")
    issued_at = serializers.DateTimeField()
    currency = serializers.CharField()
    net_minor = serializers.IntegerField()
    tax_rate = serializers.IntegerField()
    tax_minor = serializers.IntegerField()
    gross_minor = serializers.IntegerField()
    exemption = serializers.CharField()
    lines = InvoiceLineOut(many=True)
    paper = serializers.SerializerMethodField(help_text="The id of the printed invoice")

    def get_paper(self, invoice: Invoice) -> int | None:
        """The paper's id."""
        paper = invoice_paper(invoice)
        return paper.pk if paper else None
