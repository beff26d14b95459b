"""The kit of the interface for programs: tokens, sessions, pages of a list."""

import hashlib
from datetime import datetime, timedelta

from django.db import transaction
from django.utils import timezone
from rest_framework import serializers
from rest_framework.authentication import BaseAuthentication, SessionAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.pagination import CursorPagination
from rest_framework.request import Request

from labqueue.base import audit
from labqueue.base.errors import Forbidden, refuse
from labqueue.base.models import ApiToken, User, is_live, new_token


def digest(token: str) -> str:
    """How a token is kept. A plain hash is enough for 256 random bits."""
    return hashlib.sha256(token.encode()).hexdigest()


@transaction.atomic
def issue_token(user: User, name: str, days: int = 365) -> str:
    """Make a token for `user`, good for that many days; the text is shown once and cannot be read back."""
    text = new_token()
    expires = timezone.now() + timedelta(days=days)
    token = ApiToken.objects.create(user=user, name=name, digest=digest(text), expires_at=expires)
    audit.record(user, "issue token", user, after={"token": token, "name": name, "expires_at": expires})
    return text


@transaction.atomic
def revoke_token(token: ApiToken, actor: User) -> None:
    """End a token at once. A token that was revoked before stays revoked since then."""
    now = timezone.now()
    if ApiToken.objects.filter(pk=token.pk, revoked_at=None).update(revoked_at=now):
        token.revoked_at = now
        audit.record(token.user, "revoke token", actor, after={"token": token, "revoked_at": now})


class BearerToken(BaseAuthentication):
    """`Authorization: Bearer lq_…` (RFC 6750)."""

    def authenticate(self, request: Request) -> tuple[User, ApiToken] | None:
        """The token's owner, or None where no bearer token is given."""
        scheme, _, token = get_authorization_header(request).decode("latin-1").partition(" ")
        if scheme.lower() != "bearer":
            return None
        found = ApiToken.objects.select_related("user").filter(digest=digest(token.strip())).first()
        now = timezone.now()
        if found is None or not is_live(found, now) or not found.user.is_active:
            raise AuthenticationFailed("This token is unknown, expired or revoked.")
        if found.last_used_at is None or now - found.last_used_at > timedelta(minutes=1):
            ApiToken.objects.filter(pk=found.pk).update(last_used_at=now)
        return found.user, found

    def authenticate_header(self, request: Request) -> str:
        """So that a missing sign-in is 401 and not 403."""
        return "Bearer"


class Session(SessionAuthentication):
    """A signed-in browser, with its CSRF token."""


class OffsetDateTimeField(serializers.DateTimeField):
    """An instant with its offset: a clock time without one could be two instants, or none."""

    default_error_messages = {"offset": "Give the instant with its offset, such as 2026-03-02T09:30:00-05:00."}

    def enforce_timezone(self, value: datetime) -> datetime:
        """Refuse what has no offset."""
        if value.tzinfo is None:
            self.fail("offset")
        return super().enforce_timezone(value)


class NewestFirst(CursorPagination):
    """Pages by the row's own id: no row is skipped or shown twice while others come in."""

    ordering = "-id"
    page_size = 50
    page_size_query_param = "limit"
    max_page_size = 200


def person(request: Request) -> User:
    """Who asks. Raises Forbidden for nobody."""
    if not isinstance(request.user, User):
        raise refuse("sign-in", "Sign in first.", kind=Forbidden)
    return request.user
