"""Files of a case: scans, photos, designs and other papers. What they hold lies in the store of files."""

from django.db import models
from django.db.models import Q

from labqueue.base.models import User
from orders.models.case import Case
from orders.models.columns import instant, text


class Attachment(models.Model):
    """One file of a case, by its hash. Its name is made of what it shows and its number; the sender's is not kept."""

    class Role(models.TextChoices):
        IMPLANT_SCAN = "implant_scan", "Scan with scan body"
        EMERGENCE_SCAN = "emergence_scan", "Scan of the soft tissue"
        PROVISIONAL_SCAN = "provisional_scan", "Scan of the provisional"
        OPPOSING_SCAN = "opposing_scan", "Scan of the opposing arch"
        BITE_SCAN = "bite_scan", "Scan of the bite"
        PHOTO_RETRACTED = "photo_retracted", "Photo, lips retracted"
        PHOTO_SHADE = "photo_shade", "Photo with shade tab"
        PHOTO_SMILE = "photo_smile", "Photo of the smile"
        PHOTO_PROVISIONAL = "photo_provisional", "Photo of the provisional in place"
        STICKER = "sticker", "Label of the implant"
        EVALUATION = "evaluation", "Photo for the evaluation"
        DESIGN = "design", "Design"
        DOCUMENT = "document", "Other paper"

    class Type(models.TextChoices):
        STL = "stl", "STL"
        PLY = "ply", "PLY"
        OBJ = "obj", "OBJ"
        JPEG = "jpeg", "JPEG"
        PNG = "png", "PNG"
        PDF = "pdf", "PDF"

    class State(models.TextChoices):
        CHECKING = "checking", "Being checked"
        READY = "ready", "Ready"
        REFUSED = "refused", "Refused"

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="attachments")
    role = models.CharField(max_length=17, choices=Role.choices)
    type = models.CharField(max_length=4, choices=Type.choices)
    number = models.PositiveSmallIntegerField()
    # The names of the file and of its picture in the store, and what was found out about it.
    file = text(120)
    sha256 = models.CharField(max_length=64)
    size = models.PositiveBigIntegerField()
    facts = models.JSONField(default=dict, blank=True)
    preview = text(120)
    state = models.CharField(max_length=8, choices=State.choices, default=State.CHECKING)
    progress = models.PositiveSmallIntegerField(default=0)
    reason = text(200)
    # The patient agreed to a photo that may show the face.
    consent = models.BooleanField(default=False)
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    withdrawn_at = instant()

    class Meta:
        ordering = ["case_id", "number"]
        constraints = [
            models.UniqueConstraint(fields=["case", "number"], name="attachment_number_once"),
            models.CheckConstraint(condition=Q(progress__lte=100), name="attachment_progress"),
            models.CheckConstraint(
                condition=Q(type__in=["stl", "ply", "obj", "jpeg", "png", "pdf"]), name="attachment_type_known"
            ),
            models.CheckConstraint(
                condition=Q(state__in=["checking", "ready"]) | (Q(state="refused") & ~Q(reason="")),
                name="attachment_refused_with_reason",
            ),
            models.CheckConstraint(condition=~Q(state="ready") | ~Q(file=""), name="attachment_ready_has_file"),
        ]

    def __str__(self) -> str:
        return self.filename

    @property
    def filename(self) -> str:
        """What the file is called for those who download it: `photo_shade-3.jpeg`."""
        return f"{self.role}-{self.number}.{self.type}"

    @property
    def share(self) -> float:
        """How far a worker has looked through it."""
        return self.progress / 100
