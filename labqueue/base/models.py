"""Rows that every room uses: people, their tokens, the audit chain, the outbox, number series, closed days."""

import secrets
from datetime import datetime

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Q

from labqueue.base.roles import LABORATORY, Role


class User(AbstractUser):
    """A person who signs in. Which practice somebody belongs to stands in `orders.Member`."""

    REQUIRED_FIELDS = ["email", "role"]

    role = models.CharField(max_length=12, choices=Role.choices)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(role__in=Role.values), name="user_role_known")]

    @property
    def works_here(self) -> bool:
        """Whether the person works in the laboratory, and so may see the cases of all practices."""
        return self.role in LABORATORY

    @property
    def shown_name(self) -> str:
        """The full name, or the sign-in where there is none."""
        return self.get_full_name() or self.username


class ApiToken(models.Model):
    """A key for a program, kept as a SHA-256 of 256 random bits: nobody can read it back."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="tokens")
    name = models.CharField(max_length=80)
    digest = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_used_at = models.DateTimeField(null=True, blank=True)


class Chain(models.Model):
    """The head of one audit chain: how many events it has and the hash of the last. Its row is the chain's lock."""

    name = models.CharField(max_length=80, unique=True)
    length = models.PositiveIntegerField(default=0)
    hash = models.CharField(max_length=64, default="")


class Event(models.Model):
    """One change: who, when, what, before and after. Append-only, and each row seals the one before it."""

    chain = models.ForeignKey(Chain, on_delete=models.PROTECT, related_name="events")
    seq = models.PositiveIntegerField()
    at = models.DateTimeField()
    actor = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")
    verb = models.CharField(max_length=60)
    before = models.JSONField(default=dict)
    after = models.JSONField(default=dict)
    prev = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)

    class Meta:
        ordering = ["chain_id", "seq"]
        constraints = [models.UniqueConstraint(fields=["chain", "seq"], name="event_seq_once")]


class OutboxRow(models.Model):
    """Work that a transaction leaves behind for a worker, written with the change: neither is there without the other.

    Of one kind and subject at most one row is queued and at most one is running.
    """

    class State(models.TextChoices):
        QUEUED = "queued"
        RUNNING = "running"
        DONE = "done"
        # Failed, and the same work was queued anew, which does it all.
        REPLACED = "replaced"
        # Failed too often; somebody has to look at it.
        DEAD = "dead"

    kind = models.CharField(max_length=60)
    subject = models.CharField(max_length=80)
    payload = models.JSONField(default=dict)
    state = models.CharField(max_length=8, choices=State.choices, default=State.QUEUED)
    attempt = models.PositiveSmallIntegerField(default=0)
    created_at = models.DateTimeField(auto_now_add=True)
    due_at = models.DateTimeField()
    lease_until = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    error = models.CharField(max_length=500, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["kind", "subject"], condition=Q(state="queued"), name="outbox_queued_once"),
            models.UniqueConstraint(
                fields=["kind", "subject"], condition=Q(state="running"), name="outbox_running_once"
            ),
            models.CheckConstraint(
                condition=Q(state__in=["queued", "running", "done", "replaced", "dead"]), name="outbox_state"
            ),
            models.CheckConstraint(
                condition=~Q(state="running") | Q(lease_until__isnull=False), name="outbox_running_has_lease"
            ),
        ]
        indexes = [models.Index(fields=["state", "due_at"], name="outbox_due")]

    def __str__(self) -> str:
        return f"The work {self.kind} of {self.subject}"


class Series(models.Model):
    """A number series without gaps. Its row is locked until the number is committed with what bears it."""

    name = models.CharField(max_length=40, unique=True)
    last = models.PositiveIntegerField(default=0)


class ClosedDay(models.Model):
    """A day on which the laboratory does not work although its week says so."""

    day = models.DateField(unique=True)
    name = models.CharField(max_length=80)


def new_token() -> str:
    """A fresh token as it is shown once: 256 random bits behind a prefix that a secret scanner can find."""
    return f"lq_{secrets.token_urlsafe(32)}"


def is_live(token: ApiToken, now: datetime) -> bool:
    """Whether the token may be used at `now`."""
    return token.revoked_at is None and (token.expires_at is None or token.expires_at > now)
