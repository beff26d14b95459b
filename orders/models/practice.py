"""Practices, their people, their closed days and the addresses of their calendars."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from labqueue.base.models import User
from orders import teeth
from orders.choices import Pack, Parts
from orders.models.columns import instant, known


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
    # What an order says where it does not say anything else.
    wants_approval = models.BooleanField(default=False)
    parts = models.CharField(max_length=10, choices=Parts.choices, default=Parts.LABORATORY)
    # The law of its place.
    pack = models.CharField(max_length=8, choices=Pack.choices, default=Pack.UNION)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(condition=Q(weekdays__regex=r"^[0-6]{1,7}$"), name="practice_weekdays"),
            *known("practice", {"parts": Parts, "pack": Pack}),
        ]

    def __str__(self) -> str:
        return self.name


class Member(models.Model):
    """A person of a practice. Everybody prepares orders; who may sign is a licensed prescriber."""

    user = models.OneToOneField(User, on_delete=models.PROTECT, related_name="member")
    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, related_name="members")
    may_sign = models.BooleanField(default=False)
    licence_number = models.CharField(max_length=30, blank=True)
    # Whether the person approves designs, and gets mail of what is asked of the practice.
    may_approve = models.BooleanField(default=False)
    notices = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(may_sign=False) | ~Q(licence_number=""), name="signer_has_licence")
        ]

    def __str__(self) -> str:
        return self.user.shown_name


class PracticeClosedDay(models.Model):
    """A single day on which a practice takes no delivery, beside its weekdays."""

    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, related_name="closed_days")
    day = models.DateField()
    name = models.CharField(max_length=60)

    class Meta:
        ordering = ["practice_id", "day"]
        constraints = [models.UniqueConstraint(fields=["practice", "day"], name="practice_closed_once")]

    def __str__(self) -> str:
        return f"{self.day:%Y-%m-%d} {self.name}"


class Feed(models.Model):
    """The address of a practice's calendar. Only the SHA-256 of its token is kept; a revoked one opens nothing."""

    practice = models.ForeignKey(Practice, on_delete=models.PROTECT, related_name="feeds")
    digest = models.CharField(max_length=64, unique=True)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField()
    revoked_at = instant()

    class Meta:
        ordering = ["practice_id", "created_at"]

    def __str__(self) -> str:
        return f"Calendar of {self.practice.name}"
