"""What practice and laboratory say to each other about a case, and the reminders of what is still open."""

from django.db import models
from django.db.models import Q

from labqueue.base.models import User
from orders.models.attachments import Attachment
from orders.models.case import Case

# What answers another message, what may stop a case until it is answered, and all else.
ANSWERS = ["answer", "approved", "changes"]
STOPS = ["question", "missing", "duplicate", "approval"]
OTHERS = ["note", "reminder"]


class Message(models.Model):
    """One thing that was said. It stays; an answer is another one. Open is what `stops` and has no answer yet."""

    class Kind(models.TextChoices):
        QUESTION = "question", "Question"
        ANSWER = "answer", "Answer"
        NOTE = "note", "Note"
        MISSING = "missing", "What is missing"
        DUPLICATE = "duplicate", "A second order for the same tooth"
        APPROVAL = "approval", "Design to be approved"
        APPROVED = "approved", "Approved"
        CHANGES = "changes", "Changes wanted"
        REMINDER = "reminder", "Reminder"

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="messages")
    kind = models.CharField(max_length=9, choices=Kind.choices)
    text = models.CharField(max_length=1000)
    # Nobody: the service itself.
    by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    at = models.DateTimeField()
    # The case stands still until it is answered.
    stops = models.BooleanField(default=False)
    answers = models.OneToOneField("self", on_delete=models.PROTECT, null=True, blank=True, related_name="answer")
    attachment = models.ForeignKey(Attachment, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    # Of a design: what was measured. Of what is missing: the fields.
    figures = models.JSONField(default=dict, blank=True)
    fields = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ["case_id", "at", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(kind__in=[*ANSWERS, *STOPS, *OTHERS]), name="message_kind_known"),
            models.CheckConstraint(
                condition=Q(kind__in=ANSWERS, answers__isnull=False) | (~Q(kind__in=ANSWERS) & Q(answers__isnull=True)),
                name="message_answers_something",
            ),
            models.CheckConstraint(condition=Q(stops=False) | Q(kind__in=STOPS), name="message_may_stop"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.case}"


class Reminder(models.Model):
    """That the practice was reminded of an open question, once per step."""

    message = models.ForeignKey(Message, on_delete=models.PROTECT, related_name="reminders")
    step = models.PositiveSmallIntegerField()
    at = models.DateTimeField()

    class Meta:
        ordering = ["message_id", "step"]
        constraints = [
            models.UniqueConstraint(fields=["message", "step"], name="reminded_once"),
            models.CheckConstraint(condition=Q(step__gte=1, step__lte=3), name="reminder_step"),
        ]

    def __str__(self) -> str:
        return f"Reminder {self.step} of {self.message}"
