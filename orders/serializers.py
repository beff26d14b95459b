"""How a case is printed as JSON, and what its verbs read. Nothing is checked or written here."""

from datetime import datetime
from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from orders import seal, teeth
from orders.check import weighed
from orders.findings import Finding, Severity
from orders.models import Case, Item, Prescription
from orders.models import Reason as WrittenReason
from orders.reads import promise_of


class Reason(serializers.Serializer[Case]):
    """Why a case is put on hold."""

    reason = serializers.CharField(allow_blank=True, default="")


class Millimetres(serializers.CharField):
    """A length that is kept in hundredths, as text: `4.3`."""

    def to_representation(self, value: Any) -> str:
        """Exact, without needless zeros."""
        return f"{Decimal(value) / 100:f}"


def length() -> Millimetres:
    """A length, null where it is not known."""
    return Millimetres(read_only=True, allow_null=True)


class ItemOut(serializers.Serializer[Item]):
    """One piece. The tooth is in the practice's notation, in FDI and in words; lengths are in millimetres."""

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
    platform = length()
    catalogue = serializers.CharField()
    lot = serializers.CharField()
    level = serializers.CharField()
    engaging = serializers.BooleanField()
    splinted = serializers.BooleanField()
    angle = serializers.IntegerField(allow_null=True)
    base = serializers.CharField()
    made_on = serializers.CharField(help_text="The base as ordered, or as is usual for the material.")
    margin_facial = length()
    margin_lingual = length()
    margin_mesial = length()
    margin_distal = length()
    gingival_facial = length()
    gingival_lingual = length()
    gingival_mesial = length()
    gingival_distal = length()
    chimney = length()
    height = length()
    implant_length = length()
    tissue_recorded = serializers.BooleanField()
    emergence = serializers.CharField()
    scan_body = serializers.CharField()
    scan_platform = length()
    shade_guide = serializers.CharField()
    shade_cervical = serializers.CharField()
    shade_incisal = serializers.CharField()
    stump = serializers.CharField()
    stump_shade = serializers.CharField()
    occlusion = serializers.CharField()
    contacts = serializers.CharField()
    texture = serializers.CharField()
    lustre = serializers.CharField()
    characterisation = serializers.CharField()

    def get_tooth(self, item: Item) -> str:
        """In the practice's notation."""
        return teeth.sign(item.tooth, item.prescription.case.practice.notation)

    def get_tooth_words(self, item: Item) -> str:
        """For people."""
        return teeth.words(item.tooth)


class FindingOut(serializers.Serializer[Finding]):
    """What was found in an order: which rule speaks, how strongly, of which field, and what would satisfy it."""

    rule = serializers.CharField()
    severity = serializers.ChoiceField([one.value for one in Severity])
    field = serializers.CharField(help_text="Such as `items.0.shade`.")
    line = serializers.IntegerField(help_text="Of the piece; 0 is the whole order.")
    sentence = serializers.CharField(source="__str__")


class ReasonOut(serializers.Serializer[WrittenReason]):
    """Why something unusual is wanted: which rule it answers, of the piece on which line (0 is the whole order)."""

    rule = serializers.CharField()
    line = serializers.IntegerField()
    text = serializers.CharField()
    by = serializers.CharField(source="by.shown_name")
    at = serializers.DateTimeField()


class PrescriptionOut(serializers.Serializer[Prescription]):
    """One version. A draft has no signature, and a `mark` that may be sent along with it."""

    version = serializers.IntegerField()
    seat_at = serializers.DateTimeField(allow_null=True)
    note = serializers.CharField()
    impression = serializers.CharField()
    scanned_on = serializers.DateField(allow_null=True)
    analog = serializers.CharField()
    opposing = serializers.CharField()
    bite = serializers.CharField()
    enclosed = serializers.ListField(child=serializers.CharField())
    disinfected_with = serializers.CharField()
    disinfected_minutes = serializers.IntegerField(allow_null=True)
    guidance = serializers.CharField()
    bruxism = serializers.CharField()
    allergy = serializers.CharField()
    allergens = serializers.ListField(child=serializers.CharField())
    allergy_note = serializers.CharField()
    approval = serializers.CharField()
    contact = serializers.CharField()
    parts = serializers.CharField()
    rush = serializers.BooleanField()
    delivery = serializers.CharField()
    signed_at = serializers.DateTimeField(allow_null=True)
    signed_by = serializers.CharField(source="signed_by.user.shown_name", default=None, allow_null=True)
    licence_number = serializers.CharField()
    hash = serializers.CharField()
    mark = serializers.SerializerMethodField()
    items = ItemOut(many=True)
    reasons = ReasonOut(many=True)
    unusual = serializers.SerializerMethodField()

    @extend_schema_field(FindingOut(many=True))
    def get_unusual(self, prescription: Prescription) -> Any:
        """What is signed only with a reason."""
        return [FindingOut(one).data for one, _ in weighed(prescription.case, prescription)]

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
    origin = serializers.CharField(source="origin.number", default=None, allow_null=True)
    relation = serializers.CharField()
    cause = serializers.CharField()
    cause_note = serializers.CharField()
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
    complete_at = serializers.DateTimeField(allow_null=True)
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
