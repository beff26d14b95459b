"""The page of the search."""

from django import forms
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from labqueue.base.errors import Refusal
from labqueue.base.forms import HouseForm
from labqueue.base.pages import onto_form
from orders import reads, teeth
from orders.day.search import Wanted, found
from orders.form.words import day, text
from orders.pages import who

MOST = 100


class SearchForm(HouseForm):
    """What is looked for."""

    patient_ref = text("Patient reference", autocapitalize="characters")
    tooth = text("Tooth", size=4)
    notation = forms.ChoiceField(label="Notation", required=False, choices=[("", "Choose"), *teeth.Notation.choices])
    system = forms.CharField(label="Implant system", required=False, help_text="A part of its name is enough.")
    lot = forms.CharField(label="Lot or catalogue number", required=False)
    state = forms.ChoiceField(label="State", required=False, choices=reads.CHOICES, initial=reads.ALL)
    seat_from = day("Appointment from")
    seat_to = day("up to")

    def wanted(self) -> Wanted:
        """As the search takes it."""
        return Wanted(**{**self.cleaned_data, "state": self.cleaned_data["state"] or reads.ALL})


@require_http_methods(["GET", "POST"])
def search(request: HttpRequest) -> HttpResponse:
    """The form; with POST, also what was found."""
    form, page = SearchForm(request.POST or None), None
    if request.method == "POST" and form.is_valid():
        try:
            page = Paginator(found(who(request), form.wanted()), MOST).get_page(1)
        except Refusal as refusal:
            onto_form(form, refusal)
    return render(request, "orders/search.html", {"form": form, "page": page}, status=422 if form.errors else 200)
