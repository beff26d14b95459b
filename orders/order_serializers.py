"""How an order is read from JSON. Nothing is checked or written here."""

from typing import Any

from rest_framework import serializers

from labqueue.base.api import OffsetDateTimeField
from orders.facts import ItemFacts, ReasonFacts
from orders.models import Case


def text(help_text: str | None = None) -> serializers.CharField:
    """A text or a word that may be left out."""
    return serializers.CharField(allow_blank=True, default="", help_text=help_text)


def length() -> serializers.DecimalField:
    """A length that may be left out."""
    return serializers.DecimalField(
        max_digits=6, decimal_places=3, allow_null=True, default=None, help_text="Millimetres."
    )


class ItemIn(serializers.Serializer[ItemFacts]):
    """One piece as it is ordered. A tooth is only understood together with its notation."""

    kind = serializers.CharField(allow_blank=True, help_text="abutment, crown or screw_crown")
    tooth = serializers.CharField(allow_blank=True, help_text="As the practice writes it, such as 8, 11 or UR1.")
    notation = text("fdi, universal or palmer")
    material = serializers.CharField(allow_blank=True)
    layered = serializers.BooleanField(default=False)
    shade = text("Of the body of the crown.")
    retention = text("Empty for the usual one.")
    system = text()
    connection = text()
    platform = length()
    catalogue = text()
    lot = text()
    level = text("bone or tissue")
    engaging = serializers.BooleanField(default=True)
    splinted = serializers.BooleanField(default=False)
    angle = serializers.IntegerField(allow_null=True, default=None, help_text="Of the screw channel, in degrees.")
    base = text("one_piece or titanium_base; empty for what is usual for the material.")
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
    tissue_recorded = serializers.BooleanField(default=False)
    emergence = text("follow, expand, copy or laboratory")
    scan_body = text()
    scan_platform = length()
    shade_guide = text()
    shade_cervical = text()
    shade_incisal = text()
    stump = text("tooth, dark or metal")
    stump_shade = text()
    occlusion = text("light, normal or out")
    contacts = serializers.CharField(allow_blank=True, default="normal", help_text="tight, normal, light or open")
    texture = text("light, medium or heavy")
    lustre = text("matt, silk or gloss")
    characterisation = text()


class ReasonIn(serializers.Serializer[ReasonFacts]):
    """Why something unusual is wanted all the same."""

    rule = serializers.CharField(help_text="The rule that it answers, such as V12.")
    tooth = text("Empty where the whole order is meant.")
    notation = text("fdi, universal or palmer")
    # The name hides the function above in what follows, so it comes last.
    text = serializers.CharField(allow_blank=True)


class SignIn(serializers.Serializer[Case]):
    """What the prescriber has read: the `mark` of the draft; left out, whatever is there now is signed. And why."""

    seen = text()
    reasons = ReasonIn(many=True, default=list)

    def facts(self) -> dict[str, Any]:
        """As `orders.signoff.sign` takes them. Call it after `is_valid`."""
        values = self.validated_data
        return {"seen": values["seen"], "reasons": [ReasonFacts(**one) for one in values["reasons"]]}


class PrescriptionIn(serializers.Serializer[Case]):
    """What a prescription asks for."""

    patient_ref = serializers.CharField(
        allow_blank=True, help_text="A code of the practice's own; never a name or a date."
    )
    stage = serializers.CharField(allow_blank=True, help_text="provisional or final")
    seat_at = OffsetDateTimeField(allow_null=True, default=None, help_text="With its offset; null for none yet.")
    note = text()
    items = ItemIn(many=True)
    impression = text("scan, open_tray or closed_tray")
    scanned_on = serializers.DateField(allow_null=True, default=None)
    analog = text("enclosed or laboratory")
    opposing = text("scan, impression or model")
    bite = text("scan or record")
    enclosed = serializers.ListField(child=serializers.CharField(), default=list, max_length=20)
    disinfected_with = text()
    disinfected_minutes = serializers.IntegerField(allow_null=True, default=None)
    guidance = text("none, canine or group")
    bruxism = text("yes, no or unknown")
    allergy = text("none, unknown or yes")
    allergens = serializers.ListField(child=serializers.CharField(), default=list, max_length=20)
    allergy_note = text()
    approval = text("yes or no; empty for what was agreed on.")
    contact = text()
    parts = text("laboratory or practice; empty for what was agreed on.")
    rush = serializers.BooleanField(default=False)
    delivery = text("courier or collection")
    reasons = ReasonIn(many=True, default=list)

    def facts(self) -> dict[str, Any]:
        """As the verbs of `orders.intake` take them. Call it after `is_valid`."""
        values = self.validated_data
        items = [ItemFacts(**item) for item in values["items"]]
        return {**values, "items": items, "reasons": [ReasonFacts(**one) for one in values["reasons"]]}


class CaseIn(PrescriptionIn):
    """A new order. What it is to an earlier case is said here, once."""

    practice = text("The code of your own practice, or nothing.")
    origin = text("The number of the earlier case that it follows.")
    relation = text("final, remake or adjustment; empty for a first make.")
    cause = text("Of a remake.")
    cause_note = text()
