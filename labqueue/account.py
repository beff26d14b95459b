"""A person's own access keys for programs: made, shown once, revoked."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from labqueue.base.api import issue_token, revoke_token
from labqueue.base.errors import NotFound, refuse
from labqueue.base.models import ApiToken, User

NAME_LENGTH = 80


def tokens(request: HttpRequest) -> HttpResponse:
    """The person's keys; POST makes one and shows it this one time."""
    assert isinstance(request.user, User)
    fresh = make(request.user, request.POST.get("name", "")) if request.method == "POST" else ""
    mine = ApiToken.objects.filter(user=request.user, revoked_at__isnull=True).order_by("-id")
    return render(request, "tokens.html", {"tokens": mine, "fresh": fresh})


@require_POST
def end(request: HttpRequest, pk: int) -> HttpResponse:
    """From now on the key opens nothing."""
    assert isinstance(request.user, User)
    revoke_token(own_token(request.user, pk), request.user)
    return redirect("tokens")


def make(user: User, name: str) -> str:
    """A new key for `user`. Raises Refusal where it has no name."""
    words = " ".join(name.split())
    if not 1 <= len(words) <= NAME_LENGTH:
        why = f"Give the key a name of at most {NAME_LENGTH} characters: which program will use it?"
        raise refuse("name", why, field="name")
    return issue_token(user, words)


def own_token(user: User, pk: int) -> ApiToken:
    """One of the person's own live keys. Raises NotFound for any other."""
    token = ApiToken.objects.filter(pk=pk, user=user, revoked_at=None).first()
    if token is None:
        raise refuse("token", "You have no such access key.", kind=NotFound)
    return token
