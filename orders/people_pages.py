"""The administrator's pages of people."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from labqueue.base import audit
from labqueue.base.errors import NotFound, Refusal, refuse
from labqueue.base.forms import HouseForm
from labqueue.base.models import User
from labqueue.base.pages import onto_form
from labqueue.base.roles import Role
from orders.models import Practice
from orders.pages import who
from orders.people import add_person, renew_password, set_active, set_may_approve


class PersonForm(HouseForm):
    """A new account."""

    username = forms.CharField(
        label="Sign-in", max_length=150, widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"})
    )
    name = forms.CharField(label="Name", max_length=100)
    role = forms.ChoiceField(label="Role", choices=Role.choices, widget=forms.RadioSelect)
    practice = forms.ModelChoiceField(
        label="Practice",
        queryset=Practice.objects.all(),
        required=False,
        empty_label="None",
        help_text="Only for the role practice.",
    )
    may_sign = forms.BooleanField(label="May sign prescriptions", required=False)
    licence_number = forms.CharField(label="Licence number", required=False, help_text="Needed of who may sign.")
    may_approve = forms.BooleanField(
        label="May approve designs", required=False, help_text="Who signs may, as long as nothing else is said later."
    )

    def clean_may_approve(self) -> bool | None:
        """Left empty, it is as it usually is."""
        return self.cleaned_data["may_approve"] or None


@require_http_methods(["GET", "POST"])
def people(request: HttpRequest) -> HttpResponse:
    """Everybody, and a form for one more. The new password is shown on this answer and never again."""
    form = PersonForm(request.POST if request.method == "POST" else None)
    added: dict[str, Any] = {}
    if request.method == "POST" and form.is_valid():
        try:
            person, password = add_person(who(request), **form.cleaned_data)
            form, added = PersonForm(), {"added": person, "password": password}
        except Refusal as refusal:
            onto_form(form, refusal)
    everybody = User.objects.select_related("member__practice").order_by("role", "username")
    status = 422 if form.errors else 200
    return render(request, "orders/people.html", {"form": form, "people": everybody, **added}, status=status)


@require_http_methods(["GET", "POST"])
def person(request: HttpRequest, pk: int) -> HttpResponse:
    """One account: what it may do and what happened to it; POST switches it on or off, lets it approve designs or no
    longer, or gives a new password.

    That password is shown on this answer and never again.
    """
    found = User.objects.select_related("member__practice").filter(pk=pk).first()
    if found is None:
        raise refuse("person", "There is no such person.", kind=NotFound)
    if "active" in request.POST:
        set_active(who(request), found, request.POST["active"] == "yes")
        messages.success(request, f"{found.shown_name} can {'' if found.is_active else 'no longer '}sign in.")
        return redirect("orders:person", found.pk)
    if "approves" in request.POST:
        may = set_may_approve(who(request), found, request.POST["approves"] == "yes").may_approve
        messages.success(request, f"{found.shown_name} approves designs{'' if may else ' no longer'}.")
        return redirect("orders:person", found.pk)
    password = renew_password(who(request), found) if request.method == "POST" else ""
    context = {"person": found, "password": password, "trail": audit.trail(found)[::-1]}
    return render(request, "orders/person.html", context)
