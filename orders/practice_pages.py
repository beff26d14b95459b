"""The pages of practices: the list with a form for one more, and one practice with its facts and its history."""

from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from labqueue.base import audit
from labqueue.base.errors import NotFound, Refusal, refuse
from labqueue.base.forms import HouseForm
from labqueue.base.pages import onto_form
from labqueue.base.roles import Role
from orders import teeth
from orders.choices import Pack, Parts
from orders.models import Practice, laboratory_zone
from orders.pages import who
from orders.practices import MOST_TRANSIT_DAYS, WORDS, PracticeFacts, add_practice, change_practice, time_zones
from orders.trail import by

NAMES = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
WEEKDAYS = [(str(digit), name) for digit, name in enumerate(NAMES)]
FACTS = tuple(PracticeFacts.__dataclass_fields__)


class PracticeForm(HouseForm):
    """The facts of a practice."""

    name = forms.CharField(label="Name", max_length=80)
    address = forms.CharField(label="Address", max_length=200, help_text="In one line, as on the papers.")
    phone = forms.CharField(label="Telephone", max_length=30, widget=forms.TextInput(attrs={"type": "tel"}))
    notation = forms.ChoiceField(
        label="Writes teeth in", choices=teeth.Notation.choices, widget=forms.RadioSelect, initial=teeth.Notation.FDI
    )
    weekdays = forms.MultipleChoiceField(
        label="Takes deliveries on",
        choices=WEEKDAYS,
        widget=forms.CheckboxSelectMultiple,
        initial=list("01234"),
        error_messages={"required": "Choose at least one weekday on which the practice takes deliveries."},
    )
    transit_days = forms.IntegerField(
        label="Working days on the way",
        help_text=f"From the courier's pick-up to the practice, 0 to {MOST_TRANSIT_DAYS}.",
        widget=forms.NumberInput(attrs={"min": 0, "max": MOST_TRANSIT_DAYS}),
        initial=1,
    )
    time_zone = forms.CharField(
        label="Time zone",
        help_text="By region and city, such as Europe/Lisbon.",
        widget=forms.TextInput(attrs={"list": "zones", "autocomplete": "off", "spellcheck": "false"}),
        initial=laboratory_zone,
    )
    wants_approval = forms.BooleanField(
        label="Wants to see designs before they are milled",
        required=False,
        help_text="Where an order says nothing else.",
    )
    parts = forms.ChoiceField(
        label="Screws, bases, analogs come from",
        choices=Parts.choices,
        widget=forms.RadioSelect,
        initial=Parts.LABORATORY,
    )
    pack = forms.ChoiceField(
        label="Law of its place",
        choices=Pack.choices,
        initial=Pack.UNION,
        help_text="What goes back with the device, and how long papers are kept.",
    )

    @property
    def facts(self) -> PracticeFacts:
        """As the verbs of `orders.practices` take them."""
        return PracticeFacts(**{name: self.cleaned_data[name] for name in FACTS})


class NewPracticeForm(PracticeForm):
    """The facts of a new practice, and the code that it keeps."""

    code = forms.CharField(
        label="Code",
        max_length=12,
        help_text="Short, such as northgate. It never changes.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"}),
    )
    field_order = ("code",)


@require_http_methods(["GET", "POST"])
def practices(request: HttpRequest) -> HttpResponse:
    """All practices with their people and open cases, and for the administrator a form for one more."""
    form = NewPracticeForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            added = add_practice(who(request), code=form.cleaned_data["code"], facts=form.facts)
            messages.success(request, f"{added.name} is added.")
            return redirect("orders:practice", added.code)
        except Refusal as refusal:
            onto_form(form, refusal)
    context = {"practices": counted(), "form": form if may_change(request) else None, "zones": time_zones()}
    return render(request, "orders/practices.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "POST"])
def practice(request: HttpRequest, code: str) -> HttpResponse:
    """The facts of one practice in a form, and what happened to them."""
    found = Practice.objects.filter(code=code).first()
    if found is None:
        raise refuse("practice", f"There is no practice {code[:12]}.", kind=NotFound)
    form = PracticeForm(request.POST if request.method == "POST" else None, initial=values(found))
    if request.method == "POST" and form.is_valid():
        try:
            changed = change_practice(who(request), found, form.facts)
            messages.success(request, f"{found.name} is changed." if changed else "Nothing was changed.")
            return redirect("orders:practice", found.code)
        except Refusal as refusal:
            onto_form(form, refusal)
    context = {"practice": found, "form": form, "zones": time_zones(), "trail": history(found)}
    return render(request, "orders/practice.html", context, status=422 if form.errors else 200)


def may_change(request: HttpRequest) -> bool:
    """Whether the person keeps the practices' facts; the manager only reads them."""
    return who(request).role == Role.ADMIN


def counted() -> list[Practice]:
    """All practices, each with `people` and `open_cases`. One query."""
    over = Q(cases__state__in=["draft", "shipped", "cancelled"])
    people, open_cases = Count("members", distinct=True), Count("cases", distinct=True, filter=~over)
    return list(Practice.objects.annotate(people=people, open_cases=open_cases))


def values(practice: Practice) -> dict[str, Any]:
    """What the form shows of a practice."""
    return {**{name: getattr(practice, name) for name in FACTS}, "weekdays": list(practice.weekdays)}


def history(practice: Practice) -> list[dict[str, Any]]:
    """What happened to the practice, the latest first, as the part `event.html` takes it."""
    return [
        {"at": event.at, "what": said(event.verb, event.before, event.after), "by": by(event)}
        for event in reversed(audit.trail(practice))
    ]


def said(verb: str, before: dict[str, Any], after: dict[str, Any]) -> str:
    """The verb, with each fact that was changed: `Changed: phone 555 0100 → 555 0199`."""
    changes = [f"{label(name)} {shown(name, was)} → {shown(name, after.get(name))}" for name, was in before.items()]
    return f"{verb.capitalize()}: {'; '.join(changes)}" if changes else verb.capitalize()


def label(name: str) -> str:
    """A fact as the form calls it, within a sentence."""
    text = str(PracticeForm.base_fields[name].label)
    return text[:1].lower() + text[1:]


def shown(name: str, value: Any) -> str:
    """A fact for people: weekdays by their names, words by their labels."""
    if name == "weekdays":
        return ", ".join(dict(WEEKDAYS)[digit][:3] for digit in value)
    if name in WORDS:
        return str(dict(WORDS[name].choices).get(value, value))
    return {True: "yes", False: "no"}.get(value, str(value)) if isinstance(value, bool) else str(value)
