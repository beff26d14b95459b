"""How an order is read from JSON and how a case is printed as JSON. Nothing is checked or written here."""

from datetime import datetime
from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from labqueue.base.api import OffsetDateTimeField
from orders import seal, teeth
from orders.facts import ItemFacts
from orders.models import Case, Item, Prescription
from orders.reads import promise_of


class ItemIn(serializers.Serializer[ItemFacts]):
    """One piece as it is ordered. A tooth is only understood together with its notation."""

    kind = serializers.CharField(allow_blank=True, help_text="abutment, crown or screw_crown")
    tooth = serializers.CharField(allow_blank=True, help_text="As the practice writes it, such as 8, 11 or UR1.")
    notation = serializers.CharField(allow_blank=True, default="", help_text="fdi, universal or palmer")
    material = serializers.CharField(allow_blank=True)
    layered = serializers.BooleanField(default=False)
    shade = serializers.CharField(allow_blank=True, default="")
    retention = serializers.CharField(allow_blank=True, default="", help_text="Empty for the usual one.")
    system = serializers.CharField(allow_blank=True, default="")
    connection = serializers.CharField(allow_blank=True, default="")
    platform = serializers.DecimalField(
        max_digits=6, decimal_places=3, allow_null=True, default=None, help_text="Millimetres."
    )


class PrescriptionIn(serializers.Serializer[Case]):
    """What a prescription asks for."""

    patient_ref = serializers.CharField(
        allow_blank=True, help_text="A code of the practice's own; never a name or a date."
    )
    stage = serializers.CharField(allow_blank=True, help_text="provisional or final")
    seat_at = OffsetDateTimeField(allow_null=True, default=None, help_text="With its offset; null for none yet.")
    note = serializers.CharField(allow_blank=True, default="")
    items = ItemIn(many=True)

    def facts(self) -> dict[str, Any]:
        """As the verbs of `orders.intake` take them. Call it after `is_valid`."""
        return {**self.validated_data, "items": [ItemFacts(**item) for item in self.validated_data["items"]]}


class CaseIn(PrescriptionIn):
    """A new order."""

    practice = serializers.CharField(
        allow_blank=True, default="", help_text="The code of your own practice, or nothing."
    )


class Reason(serializers.Serializer[Case]):
    """Why a case is put on hold."""

    reason = serializers.CharField(allow_blank=True, default="")


class Seen(serializers.Serializer[Case]):
    """What the prescriber has read: the `mark` of the draft. Left out, whatever is there now is signed."""

    seen = serializers.CharField(allow_blank=True, default="")


class ItemOut(serializers.Serializer[Item]):
    """One piece. The tooth is in the practice's notation, in FDI and in words."""

    line = serializers.IntegerField()
    kind = serializers.CharField()
    tooth = serializers.SerializerMethodField()
    notation = serializers.CharField(source="prescription.case.practice.notation")
    tooth_fdi = serializers.CharField(source="tooth")
    tooth_words = serializers.SerializerMethodField()
    material = serializers.CharField()
    layered = serializers.BooleanField()
    shade = serializers.CharField()
    retention = serializers.CharField()
    system = serializers.CharField()
    connection = serializers.CharField()
    platform = serializers.SerializerMethodField()
    warning = serializers.CharField()

    def get_tooth(self, item: Item) -> str:
        """In the practice's notation."""
        return teeth.sign(item.tooth, item.prescription.case.practice.notation)

    def get_tooth_words(self, item: Item) -> str:
        """For people."""
        return teeth.words(item.tooth)

    def get_platform(self, item: Item) -> str | None:
        """Millimetres."""
        return None if item.platform is None else f"{Decimal(item.platform) / 100:f}"


class PrescriptionOut(serializers.Serializer[Prescription]):
    """One version. A draft has no signature, and a `mark` that may be sent along with it."""

    version = serializers.IntegerField()
    seat_at = serializers.DateTimeField(allow_null=True)
    note = serializers.CharField()
    signed_at = serializers.DateTimeField(allow_null=True)
    signed_by = serializers.CharField(source="signed_by.user.shown_name", default=None, allow_null=True)
    licence_number = serializers.CharField()
    hash = serializers.CharField()
    mark = serializers.SerializerMethodField()
    items = ItemOut(many=True)

    def get_mark(self, prescription: Prescription) -> str | None:
        """The hash of what is to be signed."""
        return None if prescription.signed_at else seal.mark(prescription.case, prescription)


class DueOut(serializers.Serializer[Any]):
    """The date: when the case leaves, what the usual days allow, and the conflict between them with its ways out."""

    due_at = serializers.DateTimeField(help_text="When the case leaves the laboratory.")
    first_due_at = serializers.DateTimeField(allow_null=True)
    earliest = serializers.DateTimeField()
    seat_from = serializers.DateField()
    conflict = serializers.CharField()


class CaseRow(serializers.Serializer[Any]):
    """A case in a list."""

    number = serializers.CharField()
    practice = serializers.CharField(source="practice.code")
    patient_ref = serializers.CharField()
    stage = serializers.CharField()
    state = serializers.CharField()
    hold_reason = serializers.CharField()
    seat_at = serializers.DateTimeField(allow_null=True)
    due_at = serializers.DateTimeField(allow_null=True)
    late = serializers.SerializerMethodField()
    late_as_of = serializers.SerializerMethodField()
    prescription = PrescriptionOut(source="shown", allow_null=True)

    def get_late(self, case: Case) -> float | None:
        """The probability to leave after `due_at`, as last forecast."""
        return case.outlook.late if hasattr(case, "outlook") else None

    def get_late_as_of(self, case: Case) -> datetime | None:
        """When that was computed."""
        return case.outlook.made_at if hasattr(case, "outlook") else None


class CaseOut(CaseRow):
    """A case with its date and, for the practice, the version that is being prepared. Context: `person`, who reads."""

    created_at = serializers.DateTimeField()
    accepted_at = serializers.DateTimeField(allow_null=True)
    finished_at = serializers.DateTimeField(allow_null=True)
    shipped_at = serializers.DateTimeField(allow_null=True)
    due = serializers.SerializerMethodField()
    draft = serializers.SerializerMethodField()

    @extend_schema_field(PrescriptionOut(allow_null=True))
    def get_draft(self, case: Case) -> Any:
        """The laboratory does not read what is not signed."""
        if case.draft is None or self.context["person"].works_here:
            return None
        return PrescriptionOut(case.draft).data

    @extend_schema_field(DueOut)
    def get_due(self, case: Case) -> dict[str, Any]:
        """As promised with the version that counts; for a draft, as it would be promised now."""
        shown = case.shown
        assert shown is not None
        promise = promise_of(case, shown)
        values = {"due_at": case.due_at or promise.due_at, "first_due_at": case.first_due_at}
        return dict(DueOut({**values, **{n: getattr(promise, n) for n in ("earliest", "seat_from", "conflict")}}).data)
