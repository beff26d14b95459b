"""The addresses of a practice's calendar: made, shown once, revoked."""

import hashlib
import secrets

from django.db import transaction
from django.db.models import QuerySet
from django.http import Http404
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import NotFound, refuse
from labqueue.base.models import User
from orders.doors import member_of
from orders.models import Feed, Practice

MOST = 10


def digest(token: str) -> str:
    """How a token is kept. A plain hash is enough for 256 random bits."""
    return hashlib.sha256(token.encode()).hexdigest()


def live(practice: Practice) -> "QuerySet[Feed]":
    """The addresses that open the practice's calendar, the latest first."""
    return Feed.objects.filter(practice=practice, revoked_at=None).select_related("created_by").order_by("-id")


@transaction.atomic
def issue_feed(actor: User) -> str:
    """Make an address for the practice of `actor`; returns its token, which is shown once and cannot be read back.

    Raises Forbidden for people of the laboratory, and Refusal where there are too many.
    """
    practice = Practice.objects.select_for_update(no_key=True).get(pk=member_of(actor).practice_id)
    if live(practice).count() >= MOST:
        raise refuse("feeds", f"Your practice has {MOST} calendar addresses. Revoke one that nobody uses first.")
    token = secrets.token_urlsafe(32)
    feed = Feed.objects.create(
        practice=practice, digest=digest(token), created_by=actor, created_at=timezone.now(), revoked_at=None
    )
    audit.record(practice, "issue feed", actor, after={"feed": feed.pk})
    return token


@transaction.atomic
def revoke_feed(actor: User, pk: int) -> None:
    """End an address of the own practice at once. Raises NotFound for any that it has not, or not any more."""
    practice = member_of(actor).practice
    if not live(practice).filter(pk=pk).update(revoked_at=timezone.now()):
        raise refuse("feed", "Your practice has no such calendar address.", kind=NotFound)
    audit.record(practice, "revoke feed", actor, after={"feed": pk})


def practice_of(token: str) -> Practice:
    """The practice whose calendar a token opens. Raises Http404 for unknown and revoked ones alike."""
    feed = Feed.objects.select_related("practice").filter(digest=digest(token), revoked_at=None).first()
    if feed is None:
        raise Http404
    return feed.practice
