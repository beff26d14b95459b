"""Cases: what the practice and the laboratory speak of, by number; and what planning says of each."""

from typing import TYPE_CHECKING

from django.db import models
from django.db.models import Q

from labqueue.base.models import User
from orders.choices import Cause, Relation
from orders.materials import Stage
from orders.models.columns import instant, known, text, word
from orders.models.practice import Practice

if TYPE_CHECKING:
    from orders.models.prescription import Prescription

# A code of the practice's own: capitals, digits and hyphens, with a letter and a digit, so that neither a date of birth
# nor a bare name fits.
PATIENT_REF = r"^(?=[A-Z0-9-]*[A-Z])(?=[A-Z0-9-]*[0-9])[A-Z0-9][A-Z0-9-]{1,15}$"


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
    # A copy of the open questions in words, written by `orders.talk.stops` only, so that nobody need ask for them.
    held_since = models.DateTimeField(null=True, blank=True)
    hold_reason = models.CharField(max_length=200, blank=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    shipped_at = models.DateTimeField(null=True, blank=True)
    # The earlier case that it follows, and what it is to that one; a first make has none.
    origin = models.ForeignKey("self", on_delete=models.PROTECT, null=True, blank=True, related_name="later")
    relation = word(Relation)
    cause = word(Cause)
    cause_note = text(200)
    # Since when nothing is missing, who took it on, and when the final of this provisional is planned to be seated.
    complete_at = instant()
    accepted_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    final_seat_at = instant()
    cancel_reason = text(200)

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.CheckConstraint(condition=Q(patient_ref__regex=PATIENT_REF), name="patient_ref_is_a_code"),
            models.CheckConstraint(
                condition=Q(state__in=["draft", "cancelled"]) | Q(current__isnull=False),
                name="case_beyond_draft_signed",
            ),
            models.CheckConstraint(condition=Q(held_since__isnull=True) | ~Q(hold_reason=""), name="hold_has_reason"),
            models.CheckConstraint(
                condition=Q(relation="", origin__isnull=True) | (~Q(relation="") & Q(origin__isnull=False)),
                name="relation_has_origin",
            ),
            models.CheckConstraint(condition=~Q(relation="remake") | ~Q(cause=""), name="remake_has_cause"),
            *known("case", {"relation": Relation, "cause": Cause}),
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
# It has left the laboratory, or never will.
OVER_STATES = frozenset({"shipped", "cancelled"})


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
