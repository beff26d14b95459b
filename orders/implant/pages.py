"""The implant as a part of the page of a case: what is confirmed, and a form for what is not."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from labqueue.base.errors import Refusal
from labqueue.base.models import User
from labqueue.base.pages import by_htmx, onto_form
from orders.actions import FLOOR
from orders.doors import case_for
from orders.implant.confirm import CONFIRMABLE, confirm, piece_at
from orders.implant.forms import ConfirmationForm
from orders.implant.reads import Piece, confirmed
from orders.models import Case
from orders.pages import who


@require_http_methods(["GET", "POST"])
def implant(request: HttpRequest, number: str) -> HttpResponse:
    """What was read again of each piece that meets the implant; a second person confirms one piece at a time."""
    case = case_for(who(request), number)
    if request.method == "GET":
        return show(request, case)
    tooth, _, kind = request.POST.get("piece", "").partition("-")
    fdi = int(tooth) if tooth.isdecimal() and len(tooth) == 2 else 0
    form = ConfirmationForm(piece_at(case, fdi, kind), request.POST)
    if form.is_valid():
        try:
            confirm(who(request), case, **form.facts())
        except Refusal as refusal:
            onto_form(form, refusal)
        else:
            messages.success(request, "The implant is confirmed.")
            return redirect("orders:case", case.number)
    return show(request, case, form)


def show(request: HttpRequest, case: Case, sent: ConfirmationForm | None = None) -> HttpResponse:
    """The pieces; 422 where one was refused."""
    pieces = confirmed(case)
    context = {"case": case, "rows": [(one, form_for(one, who(request), case, sent)) for one in pieces]}
    template = "implant" if by_htmx(request) else "implant_page"
    return render(request, f"orders/{template}.html", context, status=422 if sent else 200)


def form_for(piece: Piece, reader: User, case: Case, sent: ConfirmationForm | None) -> Any:
    """The form of a piece that `reader` may confirm: as it was sent, or empty; None for everybody else."""
    second = reader.role in FLOOR and case.accepted_by_id != reader.pk and case.state in CONFIRMABLE
    if piece.confirmation or not second:
        return None
    return sent if sent and sent.item == piece.item else ConfirmationForm(piece.item)
