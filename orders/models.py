"""Practices and their people, cases, and the prescriptions that say what is to be made."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from labqueue.base.models import User
from orders import teeth
from orders.makes import Make, make_of
from orders.materials import Connection, Kind, Material, Retention, Stage
from orders.unusual import warning

# A code of the practice's own: capitals, digits and hyphens, with a letter and a digit, so that neither a date of birth
# nor a bare name fits.
PATIENT_REF = r"^(?=[A-Z0-9-]*[A-Z])(?=[A-Z0-9-]*[0-9])[A-Z0-9][A-Z0-9-]{1,15}$"


def laboratory_zone() -> str:
    """The laboratory's own time zone, where a practice has not said another."""
    return settings.TIME_ZONE


class Practice(models.Model):
    """A dental practice that orders."""

    code = models.SlugField(max_length=12, unique=True)
    name = models.CharField(max_length=80)
    address = models.CharField(max_length=200)
    phone = models.CharField(max_length=30)
    notation = models.CharField(max_length=10, choices=teeth.Notation.choices, default=teeth.Notation.FDI)
    # Weekdays on which it takes deliveries, 0 is Monday.
    weekdays = models.CharField(max_length=7, default="01234")
    transit_days = models.PositiveSmallIntegerField(default=1)
    time_zone = models.CharField(max_length=40, default=laboratory_zone)

    class Meta:
        ordering = ["name"]
        constraints = [models.CheckConstraint(condition=Q(weekdays__regex=r"^[0-6]{1,7}$"), name="practice_weekdays")]

    def __str__(self) -> str:
        return self.name


class Member(models.Model):
    """A person of a practice. Everybody prepares orders; who may sign is a licensed prescriber."""

    user = models.OneToOneField(User, on_delete=models.PROTECT, related_name="member")
    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, related_name="members")
    may_sign = models.BooleanField(default=False)
    licence_number = models.CharField(max_length=30, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(may_sign=False) | ~Q(licence_number=""), name="signer_has_licence")
        ]

    def __str__(self) -> str:
        return self.user.shown_name


class Case(models.Model):
    """One order for one patient: what the practice and the laboratory speak of, by its number."""

    class State(models.TextChoices):
        DRAFT = "draft", "Draft"
        SIGNED = "signed", "Signed, waits for the laboratory"
        ACCEPTED = "accepted", "Accepted"
        RELEASED = "released", "On the floor"
        FINISHED = "finished", "Finished, waits for packing"
        PACKED = "packed", "Packed"
        SHIPPED = "shipped", "Shipped"
        CANCELLED = "cancelled", "Cancelled"

    number = models.CharField(max_length=7, unique=True)
    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, related_name="cases")
    patient_ref = models.CharField(max_length=16)
    stage = models.CharField(max_length=12, choices=Stage.choices)
    state = models.CharField(max_length=10, choices=State.choices, default=State.DRAFT)
    current = models.OneToOneField("Prescription", on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    seat_at = models.DateTimeField(null=True, blank=True)
    # When it must leave the laboratory: as promised first, and as promised now.
    first_due_at = models.DateTimeField(null=True, blank=True)
    due_at = models.DateTimeField(null=True, blank=True)
    held_since = models.DateTimeField(null=True, blank=True)
    hold_reason = models.CharField(max_length=200, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    shipped_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.CheckConstraint(condition=Q(patient_ref__regex=PATIENT_REF), name="patient_ref_is_a_code"),
            models.CheckConstraint(
                condition=Q(state__in=["draft", "cancelled"]) | Q(current__isnull=False),
                name="case_beyond_draft_signed",
            ),
            models.CheckConstraint(condition=Q(held_since__isnull=True) | ~Q(hold_reason=""), name="hold_has_reason"),
        ]
        indexes = [
            models.Index(fields=["practice", "state"], name="case_practice_state"),
            models.Index(fields=["state", "due_at"], name="case_state_due"),
        ]

    def __str__(self) -> str:
        return f"Case {self.number}"

    @property
    def on_hold(self) -> bool:
        """Whether the case waits for an answer, and so may not move."""
        return self.held_since is not None

    @property
    def draft(self) -> "Prescription | None":
        """The version that is being prepared: of a new order, or of a change to a signed one."""
        return next((p for p in self.prescriptions.all() if p.signed_at is None), None)

    @property
    def shown(self) -> "Prescription | None":
        """The version that counts: the signed one, before the first signature the draft."""
        return next((p for p in self.prescriptions.all() if p.pk == self.current_id), None) or self.draft


OPEN_STATES = frozenset({"signed", "accepted", "released", "finished", "packed"})


class Prescription(models.Model):
    """One version of what is to be made. A draft until a prescriber signs it; from then on frozen by a trigger."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="prescriptions")
    version = models.PositiveSmallIntegerField()
    seat_at = models.DateTimeField(null=True, blank=True)
    note = models.CharField(max_length=500, blank=True)
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
            models.CheckConstraint(
                condition=Q(kind="crown") | (~Q(system="") & ~Q(connection="") & Q(platform__isnull=False)),
                name="implant_piece_has_connection",
            ),
            models.CheckConstraint(condition=Q(kind="abutment") | ~Q(shade=""), name="crown_has_shade"),
            models.CheckConstraint(condition=Q(layered=False) | Q(kind="crown"), name="only_crowns_are_layered"),
            models.CheckConstraint(
                condition=Q(kind="crown", retention="cement")
                | Q(kind="abutment", retention="screw")
                | Q(kind="screw_crown", retention__in=["screw", "angled_screw"]),
                name="retention_fits_kind",
            ),
        ]

    @property
    def make(self) -> Make:
        """How the piece is made."""
        return make_of(self.kind, self.material, self.layered)

    @property
    def platform_mm(self) -> str:
        """The platform for people: `4.3 mm`."""
        return f"{self.platform / 100:g} mm" if self.platform else ""

    @property
    def warning(self) -> str:
        """What to weigh before this piece is made; empty where it is usual."""
        return warning(self.stage, self.kind, self.material, self.tooth, self.layered, self.connection)


class Outlook(models.Model):
    """What planning said last of a case: written by planning through `orders.outlook`, shown where people decide."""

    case = models.OneToOneField(Case, on_delete=models.CASCADE, related_name="outlook")
    late = models.FloatField(null=True)
    late_low = models.FloatField(null=True)
    late_high = models.FloatField(null=True)
    p50 = models.DateTimeField(null=True)
    p80 = models.DateTimeField(null=True)
    p95 = models.DateTimeField(null=True)
    reason = models.CharField(max_length=200, blank=True)
    made_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(late__isnull=True) | Q(late__gte=0, late__lte=1), name="late_is_a_probability"
            )
        ]
