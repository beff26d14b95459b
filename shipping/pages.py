"""The pages of shipping: the desk, one box, the papers of a case, the invoices."""

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from labqueue.base.errors import Refusal
from labqueue.base.models import User
from labqueue.base.pages import by_htmx, onto_form
from labqueue.production.scan import ScanResult
from orders.doors import case_for
from orders.models import Case
from orders.packs import PACKS
from shipping import reads
from shipping.box import places, put_in
from shipping.dispatch import dispatch
from shipping.doors import delivery_of, invoices_for, paper_for, papers_of
from shipping.files import pdf_of
from shipping.forms import DispatchForm
from shipping.packing import pack

PER_PAGE = 50


@require_GET
def desk(request: HttpRequest) -> HttpResponse:
    """What is to be packed, what waits for the courier, what has left today."""
    context = {"waiting": reads.to_pack(), "packed": reads.packed(), "shipped": reads.shipped_since(reads.today())}
    return render(request, "shipping/desk.html", {**context, "carrier": reads.last_carrier()})


@require_http_methods(["GET", "POST"])
def box(request: HttpRequest, number: str) -> HttpResponse:
    """One box: scan its pieces in, close it, send it. POST closes it."""
    case = case_for(_person(request), number)
    if request.method == "POST":
        pack(_person(request), case)
        messages.success(request, f"{case} is packed. Its slip is being printed.")
        return redirect("shipping:pack", case.number)
    return show_box(request, case)


@require_POST
def scan_in(request: HttpRequest, number: str) -> HttpResponse:
    """A code that was scanned at the box."""
    case = case_for(_person(request), number)
    try:
        result = put_in(_person(request), case, request.POST.get("code", ""))
    except Refusal as refusal:
        return show_box(request, case, refusal=refusal, status=refusal.status)
    return show_box(request, case, result=result)


@require_POST
def ship(request: HttpRequest, number: str) -> HttpResponse:
    """Send the box away and issue its invoice."""
    case = case_for(_person(request), number)
    form, status = DispatchForm(request.POST), 422
    if form.is_valid():
        try:
            delivery = dispatch(_person(request), case, **form.cleaned_data)
            messages.success(request, f"{case} has left with {delivery.carrier}. Invoice {delivery.invoice.number}.")
            return redirect("shipping:desk")
        except Refusal as refusal:
            if case_for(_person(request), number).state == Case.State.SHIPPED:
                raise  # the box is gone, and with it the form that could show why
            onto_form(form, refusal)
            status = refusal.status
    return show_box(request, case_for(_person(request), number), form=form, status=status)


@require_GET
def papers(request: HttpRequest, number: str) -> HttpResponse:
    """The papers of a case: a part of its page, or a page of its own."""
    case = case_for(_person(request), number)
    return render(request, f"shipping/papers{'' if by_htmx(request) else '_page'}.html", papers_context(case))


@require_GET
def paper(request: HttpRequest, paper_id: int) -> HttpResponseBase:
    """The PDF; while it is being made, the papers of its case, which refresh themselves."""
    found = paper_for(_person(request), paper_id)
    if not found.ready:
        return render(request, "shipping/papers_page.html", papers_context(found.delivery.case), status=202)
    return pdf_of(found)


@require_GET
def invoices(request: HttpRequest) -> HttpResponse:
    """The invoices, newest first."""
    page = Paginator(invoices_for(_person(request)), PER_PAGE).get_page(request.GET.get("page"))
    rows = [(invoice, reads.invoice_paper(invoice)) for invoice in page.object_list]
    return render(request, "shipping/invoices.html", {"page": page, "rows": rows})


def papers_context(case: Case) -> dict[str, Any]:
    """What the list of papers needs; `making` says that a worker is at one of them."""
    found = list(papers_of(case))
    return {"case": case, "papers": found, "making": not all(paper.ready or paper.given_up for paper in found)}


def show_box(
    request: HttpRequest,
    case: Case,
    *,
    result: ScanResult | None = None,
    refusal: Refusal | None = None,
    form: DispatchForm | None = None,
    status: int = 200,
) -> HttpResponse:
    """The page of a box in whatever state it is; only what a scan changes where htmx asked."""
    found = places(case)
    context: dict[str, Any] = {
        **papers_context(case),
        "delivery": delivery_of(case),
        "places": found,
        "gives_back": PACKS[case.practice.pack].gives_back,
        "full": bool(found) and all(place.in_box for place in found),
        "result": result,
        "refusal": refusal,
        "form": form or DispatchForm(initial={"carrier": reads.last_carrier()}),
    }
    return render(request, f"shipping/{'scan_answer' if by_htmx(request) else 'box'}.html", context, status=status)


def _person(request: HttpRequest) -> User:
    assert isinstance(request.user, User)
    return request.user
