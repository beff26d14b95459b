"""A person's own access keys for programs: made, shown once, revoked."""

from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from labqueue.base import audit
from labqueue.base.api import issue_token
from labqueue.base.errors import NotFound, refuse
from labqueue.base.models import ApiToken, User


def tokens(request: HttpRequest) -> HttpResponse:
    """The person's keys; POST makes one and shows it this one time."""
    assert isinstance(request.user, User)
    fresh = make(request.user, request.POST.get("name", "")) if request.method == "POST" else ""
    mine = ApiToken.objects.filter(user=request.user, revoked_at__isnull=True).order_by("-id")
    return render(request, "tokens.html", {"tokens": mine, "fresh": fresh})


@require_POST
def revoke_token(request: HttpRequest, pk: int) -> HttpResponse:
    """From now on the key opens nothing."""
    assert isinstance(request.user, User)
    revoke(request.user, pk)
    return redirect("tokens")


@transaction.atomic
def make(user: User, name: str) -> str:
    """A new key for `user`. Raises Refusal where it has no name."""
    if not name.strip():
        raise refuse("name", "Give the key a name: which program will use it?", field="name")
    audit.record(user, "make access key", user, after={"name": name.strip()[:80]})
    return issue_token(user, name.strip()[:80])


@transaction.atomic
def revoke(user: User, pk: int) -> None:
    """Revoke one of the person's own keys. Raises NotFound for any other."""
    live = ApiToken.objects.filter(pk=pk, user=user, revoked_at__isnull=True)
    if live.update(revoked_at=timezone.now()) != 1:
        raise refuse("token", "You have no such access key.", kind=NotFound)
    audit.record(user, "revoke access key", user, before={"key": pk})
