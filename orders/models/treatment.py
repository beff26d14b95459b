"""What was found between provisional and final, and who compared the implant's label with the scan body."""

from django.db import models
from django.db.models import Q

from labqueue.base.models import User
from orders.choices import Level
from orders.materials import Connection, Kind
from orders.models.case import Case
from orders.models.columns import known, millimetres, text, word


class Verdict(models.TextChoices):
    """Whether something of a provisional is to stay."""

    OK = "ok", "As it should be"
    CHANGE = "change", "To be changed"


# What is judged with these two words.
JUDGED = ("papilla_mesial", "papilla_distal", "length", "shade", "contact", "bite", "speech")


class Evaluation(models.Model):
    """How a provisional did in the mouth, about three weeks after it was seated. It stays; a later one is another."""

    class Facial(models.TextChoices):
        OK = "ok", "As it should be"
        TOO_HIGH = "too_high", "Too high"
        TOO_LOW = "too_low", "Too low"

    class Decision(models.TextChoices):
        FINAL = "final", "Order the final now"
        RESHAPE = "reshape", "Reshape the provisional"
        WAIT = "wait", "Wait"

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="evaluations")
    facial = word(Facial)
    # How far the facial margin is off, in hundredths of a millimetre.
    facial_mm = models.PositiveSmallIntegerField(null=True, blank=True)
    papilla_mesial = word(Verdict)
    papilla_distal = word(Verdict)
    length = word(Verdict)
    shade = word(Verdict)
    contact = word(Verdict)
    bite = word(Verdict)
    speech = word(Verdict)
    changes = text(300)
    # The patient's word.
    happy = models.BooleanField()
    words = text(300)
    decision = models.CharField(max_length=7, choices=Decision.choices)
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["case_id", "at", "pk"]
        constraints = [
            *known("evaluation", dict.fromkeys(JUDGED, Verdict)),
            models.CheckConstraint(
                condition=Q(facial__in=["ok", "too_high", "too_low", ""]), name="evaluation_facial_known"
            ),
            models.CheckConstraint(
                condition=Q(decision__in=["final", "reshape", "wait"]), name="evaluation_decision_known"
            ),
        ]

    def __str__(self) -> str:
        return f"Evaluation of {self.case}"

    @property
    def wanted(self) -> list[str]:
        """What is to be changed, in words."""
        return [name.replace("_", " ") for name in JUDGED if getattr(self, name) == Verdict.CHANGE]

    @property
    def facial_in_mm(self) -> str:
        """How far the facial margin is off: `0.5 mm`; empty where that was not said."""
        return millimetres(self.facial_mm or None)


class Confirmation(models.Model):
    """That a second person read the implant's values off again for one piece, and from where."""

    class Source(models.TextChoices):
        SCAN_BODY = "scan_body", "Scan body"
        STICKER = "sticker", "Label of the implant"
        BOTH = "both", "Scan body and label"

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="confirmations")
    tooth = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=12, choices=Kind.choices)
    system = models.CharField(max_length=40)
    connection = models.CharField(max_length=14, choices=Connection.choices)
    # In hundredths of a millimetre.
    platform = models.PositiveSmallIntegerField()
    level = word(Level)
    source = models.CharField(max_length=9, choices=Source.choices)
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["case_id", "at", "pk"]
        constraints = known("confirmation", {"level": Level, "connection": Connection})

    def __str__(self) -> str:
        return f"Confirmation of {self.case}, tooth {self.tooth}"
