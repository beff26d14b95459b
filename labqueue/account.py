"""A person's own access keys for programs: made, shown once, revoked."""

from django import forms
from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from labqueue.base.api import issue_token, revoke_token
from labqueue.base.errors import NotFound, Refusal, refuse
from labqueue.base.forms import HouseForm
from labqueue.base.models import ApiToken, User
from labqueue.base.pages import onto_form

NAME_LENGTH = 80


class KeyForm(HouseForm):
    """What a new key is for. How long the name may be is the verb's matter."""

    name = forms.CharField(label="Name of the program", help_text="For you alone, so that you know it again.")


@require_http_methods(["GET", "HEAD", "POST"])
def tokens(request: HttpRequest) -> HttpResponse:
    """The person's keys; POST makes one and shows it this one time."""
    assert isinstance(request.user, User)
    form, fresh = KeyForm(request.POST or None), ""
    if request.method == "POST" and form.is_valid():
        try:
            fresh = make(request.user, form.cleaned_data["name"])
            form = KeyForm()
        except Refusal as refusal:
            onto_form(form, refusal)
    context = {"tokens": live(request.user), "fresh": fresh, "form": form}
    return render(request, "tokens.html", context, status=Refusal.status if form.errors else 200)


@require_POST
def end(request: HttpRequest, pk: int) -> HttpResponse:
    """From now on the key opens nothing."""
    assert isinstance(request.user, User)
    token = own_token(request.user, pk)
    revoke_token(token, request.user)
    messages.success(request, f"The key {token.name} opens nothing any more.")
    return redirect("tokens")


def make(user: User, name: str) -> str:
    """A new key for `user`. Raises Refusal where it has no name, too long a one, or that of another live key."""
    words = " ".join(name.split())
    if not 1 <= len(words) <= NAME_LENGTH:
        why = f"Give the key a name of at most {NAME_LENGTH} characters: which program will use it?"
        raise refuse("name", why, field="name")
    if live(user).filter(name=words).exists():
        raise refuse("name", "You have a key of this name. Revoke it first, or choose another name.", field="name")
    return issue_token(user, words)


def live(user: User) -> "QuerySet[ApiToken]":
    """The person's keys that were not revoked, the latest first."""
    return ApiToken.objects.filter(user=user, revoked_at=None).order_by("-id")


def own_token(user: User, pk: int) -> ApiToken:
    """One of the person's own live keys. Raises NotFound for any other."""
    token = live(user).filter(pk=pk).first()
    if token is None:
        raise refuse("token", "You have no such access key.", kind=NotFound)
    return token
