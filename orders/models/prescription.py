"""Prescriptions: what is to be made, version by version, with its pieces and the reasons for what is unusual."""

from django.db import models
from django.db.models import Q

from labqueue.base.models import User
from orders import teeth
from orders.choices import (
    Allergy,
    Analog,
    Answer,
    Base,
    Bite,
    Contacts,
    Delivery,
    Emergence,
    Guidance,
    Impression,
    Level,
    Lustre,
    Occlusion,
    Opposing,
    Parts,
    Stump,
    Texture,
    Wanted,
    usual_base,
)
from orders.makes import Make, make_of
from orders.materials import Connection, Kind, Material, Retention, Stage
from orders.models.case import Case
from orders.models.columns import LENGTHS_MM, NUMBERS, below_or_above, known, millimetres, number, text, within, word
from orders.models.practice import Member

# The columns of an order and of a piece that hold one word of a list, or nothing.
WORDS_OF_ORDER: dict[str, type[models.TextChoices]] = {
    "impression": Impression,
    "analog": Analog,
    "opposing": Opposing,
    "bite": Bite,
    "guidance": Guidance,
    "bruxism": Answer,
    "allergy": Allergy,
    "approval": Wanted,
    "parts": Parts,
    "delivery": Delivery,
}
WORDS_OF_ITEM: dict[str, type[models.TextChoices]] = {
    "level": Level,
    "base": Base,
    "emergence": Emergence,
    "stump": Stump,
    "occlusion": Occlusion,
    "contacts": Contacts,
    "texture": Texture,
    "lustre": Lustre,
}


class Prescription(models.Model):
    """One version of what is to be made. A draft until a prescriber signs it; from then on frozen by a trigger."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="prescriptions")
    version = models.PositiveSmallIntegerField()
    seat_at = models.DateTimeField(null=True, blank=True)
    note = models.CharField(max_length=500, blank=True)
    # How the implant and the jaws come to the laboratory, and what lies in the parcel.
    impression = word(Impression)
    scanned_on = models.DateField(null=True, blank=True)
    analog = word(Analog)
    opposing = word(Opposing)
    bite = word(Bite)
    enclosed = models.JSONField(default=list, blank=True)
    disinfected_with = text(60)
    disinfected_minutes = number()
    # The patient's mouth, and what it does not bear.
    guidance = word(Guidance)
    bruxism = word(Answer)
    allergy = word(Allergy)
    allergens = models.JSONField(default=list, blank=True)
    allergy_note = text(60)
    # How the practice wants to be served.
    approval = word(Wanted)
    contact = text(60)
    parts = word(Parts)
    rush = models.BooleanField(default=False)
    delivery = word(Delivery)
    signed_by = models.ForeignKey(Member, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    licence_number = models.CharField(max_length=30, blank=True)
    signed_at = models.DateTimeField(null=True, blank=True)
    hash = models.CharField(max_length=64, blank=True)

    class Meta:
        ordering = ["case_id", "version"]
        constraints = [
            models.UniqueConstraint(fields=["case", "version"], name="prescription_version_once"),
            models.UniqueConstraint(fields=["case"], condition=Q(signed_at__isnull=True), name="one_draft_per_case"),
            models.CheckConstraint(
                condition=Q(signed_at__isnull=True, signed_by__isnull=True, hash="")
                | (Q(signed_at__isnull=False, signed_by__isnull=False) & ~Q(hash="") & ~Q(licence_number="")),
                name="signature_whole",
            ),
            *known("prescription", WORDS_OF_ORDER),
            *within("prescription", {"disinfected_minutes": NUMBERS["disinfected_minutes"]}),
        ]

    def __str__(self) -> str:
        return f"Prescription {self.case.number} version {self.version}"

    @property
    def makes(self) -> list[Make]:
        """How its pieces are made, in their order."""
        return [item.make for item in self.items.all()]


class Item(models.Model):
    """One piece of a prescription. Frozen with it."""

    prescription = models.ForeignKey(Prescription, on_delete=models.PROTECT, related_name="items")
    line = models.PositiveSmallIntegerField()
    stage = models.CharField(max_length=12, choices=Stage.choices)
    kind = models.CharField(max_length=12, choices=Kind.choices)
    tooth = models.PositiveSmallIntegerField(choices=[(t, teeth.words(t)) for t in teeth.PERMANENT])
    material = models.CharField(max_length=20, choices=Material.choices)
    layered = models.BooleanField(default=False)
    shade = models.CharField(max_length=20, blank=True)
    retention = models.CharField(max_length=14, choices=Retention.choices)
    system = models.CharField(max_length=40, blank=True)
    connection = models.CharField(max_length=14, choices=Connection.choices, blank=True)
    # In hundredths of a millimetre, as on the implant's label.
    platform = models.PositiveSmallIntegerField(null=True, blank=True)
    catalogue = text(40)
    lot = text(40)
    level = word(Level)
    engaging = models.BooleanField(default=True)
    splinted = models.BooleanField(default=False)
    # The angulated screw channel, in degrees.
    angle = number()
    base = word(Base)
    # Lengths in hundredths of a millimetre: of margin and gum on each side, of the chimney of a titanium base, from
    # the platform to the opposing tooth, of the implant.
    margin_facial = below_or_above()
    margin_lingual = below_or_above()
    margin_mesial = below_or_above()
    margin_distal = below_or_above()
    gingival_facial = number()
    gingival_lingual = number()
    gingival_mesial = number()
    gingival_distal = number()
    chimney = number()
    height = number()
    implant_length = number()
    tissue_recorded = models.BooleanField(default=False)
    emergence = word(Emergence)
    scan_body = text(40)
    scan_platform = number()
    # The shade above is that of the body of the crown.
    shade_guide = text(40)
    shade_cervical = text(20)
    shade_incisal = text(20)
    stump = word(Stump)
    stump_shade = text(20)
    occlusion = word(Occlusion)
    contacts = word(Contacts, default=Contacts.NORMAL)
    texture = word(Texture)
    lustre = word(Lustre)
    characterisation = text(120)
    frozen = models.BooleanField(default=False)

    class Meta:
        ordering = ["prescription_id", "line"]
        constraints = [
            models.UniqueConstraint(fields=["prescription", "line"], name="item_line_once"),
            models.UniqueConstraint(fields=["prescription", "tooth", "kind"], name="item_once_per_tooth"),
            models.CheckConstraint(condition=Q(tooth__in=teeth.PERMANENT), name="tooth_is_fdi"),
            models.CheckConstraint(
                condition=~Q(stage="final") | ~Q(material="pmma"), name="no_provisional_material_on_final"
            ),
            models.CheckConstraint(condition=Q(layered=False) | Q(kind="crown"), name="only_crowns_are_layered"),
            models.CheckConstraint(
                condition=Q(kind="crown", retention="cement")
                | Q(kind="abutment", retention="screw")
                | Q(kind="screw_crown", retention__in=["screw", "angled_screw"]),
                name="retention_fits_kind",
            ),
            *known("item", WORDS_OF_ITEM),
            *within("item", {**LENGTHS_MM, "angle": NUMBERS["angle"]}),
        ]

    @property
    def make(self) -> Make:
        """How the piece is made."""
        return make_of(self.kind, self.material, self.layered)

    @property
    def platform_mm(self) -> str:
        """The platform for people: `4.3 mm`."""
        return millimetres(self.platform)

    @property
    def made_on(self) -> str:
        """On what the piece sits: as ordered, or as is usual for its material; empty for a crown on an abutment."""
        return self.base or usual_base(self.kind, self.material)


class Reason(models.Model):
    """Why something unusual is wanted all the same: the answer to one finding, by name. Frozen with the prescription.

    `line` is the line of the piece, 0 where the whole order is meant.
    """

    prescription = models.ForeignKey(Prescription, on_delete=models.PROTECT, related_name="reasons")
    rule = models.CharField(max_length=12)
    line = models.PositiveSmallIntegerField(default=0)
    text = models.CharField(max_length=200)
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    frozen = models.BooleanField(default=False)

    class Meta:
        ordering = ["prescription_id", "line", "rule"]
        constraints = [
            models.UniqueConstraint(fields=["prescription", "rule", "line"], name="reason_once"),
            models.CheckConstraint(condition=~Q(rule="") & ~Q(text=""), name="reason_says_something"),
        ]

    def __str__(self) -> str:
        return f"{self.rule}: {self.text}"
