"""The pages of the order form: a new order, a change of a draft, and the check of both while they are filled in."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from labqueue.base.errors import Refusal
from orders import intake, seal
from orders.choices import Relation
from orders.doors import case_for, member_of, own_case
from orders.facts import OrderFacts
from orders.form import chart
from orders.form.checked import check as checked
from orders.form.presets import with_presets
from orders.form.sheet import OrderSheet
from orders.models import Case, Item, Member, Practice
from orders.pages import who
from orders.treatment.carry import LIKE, facts_from

# How the address says what a new order follows.
WAYS = {**{f"{relation}_of": relation for relation in Relation.values}, LIKE: LIKE}
TITLES = {
    Relation.FINAL: "Order the final after case",
    Relation.REMAKE: "Order a remake of case",
    Relation.ADJUSTMENT: "Order an adjustment of case",
}


@require_http_methods(["GET", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """The order form for a new case; with what an earlier one says, where the address names it."""
    practice = member_of(who(request)).practice
    sheet = new_sheet(request, practice)
    return order_form(request, practice, sheet, lambda: intake.open_case(who(request), **sheet.facts()))


def new_sheet(request: HttpRequest, practice: Practice) -> OrderSheet:
    """The sheet of a new case."""
    begin = with_presets(carried(request), practice)
    return OrderSheet(practice, request.POST if request.method == "POST" else None, begin)


def carried(request: HttpRequest) -> OrderFacts | None:
    """What the order takes over from the case that the address names; None where it names none."""
    for name, relation in WAYS.items():
        if number := request.GET.get(name, ""):
            case = case_for(who(request), number)
            own_case(who(request), case)
            return facts_from(case, relation)
    return None


@require_http_methods(["GET", "POST"])
def edit(request: HttpRequest, number: str) -> HttpResponse:
    """The order form with the facts of the draft."""
    found = case_for(who(request), number)
    sheet = draft_sheet(request, found)

    def change() -> Case:
        intake.edit_draft(who(request), found, **sheet.facts(), seen=request.POST.get("seen", ""))
        return found

    return order_form(request, found.practice, sheet, change, found)


def draft_sheet(request: HttpRequest, found: Case) -> OrderSheet:
    """The sheet of a draft."""
    data = request.POST if request.method == "POST" else None
    return OrderSheet(found.practice, data, draft=intake.draft_of(found), another="another" in request.GET)


def order_form(
    request: HttpRequest, practice: Practice, sheet: OrderSheet, write: Callable[[], Case], found: Case | None = None
) -> HttpResponse:
    """Show the form, or write what was sent and go on to the case, or to the form for one more tooth."""
    status, said = 200, None
    if request.method == "POST":
        refusal = Refusal(())
        try:
            if sheet.is_valid():
                return after_order(request, write())
        except Refusal as refused:
            refusal = refused
        # First what the rules say: a field with its fault beside it is no longer read.
        status, said = 422, checked(sheet, practice, found)
        sheet.show(refusal)
    context = {**context_of(request, practice, sheet, found), "checked": said}
    return render(request, "orders/order_form.html", context, status=status)


def context_of(request: HttpRequest, practice: Practice, sheet: OrderSheet, found: Case | None) -> dict[str, Any]:
    """What the form shows."""
    # What the form was opened with: another draft by the time it is sent back is somebody else's work.
    seen = request.POST.get("seen") or (seal.mark(found, sheet.draft) if found and sheet.draft else "")
    relation = found.relation if found else sheet.order["relation"].value() or ""
    follows = (found.origin.number if found.origin else "") if found else sheet.order["origin"].value()
    return {
        "sheet": sheet,
        "practice": practice,
        "case": found,
        "systems": systems_of(practice),
        "seen": seen,
        "chart": chart.rows(practice.notation),
        "title": f"{TITLES[Relation(relation)]} {follows}" if relation in TITLES else "Order a new case",
        "relation": relation,
        "may_sign": Member.objects.filter(user=who(request), may_sign=True).exists(),
    }


def after_order(request: HttpRequest, found: Case) -> HttpResponse:
    """To where the person wanted to go."""
    if "another" in request.POST:
        messages.success(request, f"The draft of case {found.number} is saved. Add the next tooth below.")
        return redirect(f"{edit_address(found)}?another=1#another")
    messages.success(request, f"The draft of case {found.number} is saved. It is not signed yet.")
    if "sign" in request.POST:
        return redirect(f"{redirect('orders:case', found.number).url}?sign=1")
    return redirect("orders:case", found.number)


def edit_address(found: Case) -> str:
    """Where the draft is edited."""
    return redirect("orders:edit", found.number).url


def systems_of(practice: Practice) -> list[str]:
    """Implant systems that the practice has written before, to choose from."""
    written = Item.objects.filter(prescription__case__practice=practice).exclude(system="")
    return list(written.order_by("system").values_list("system", flat=True).distinct()[:40])


@require_POST
def check(request: HttpRequest) -> HttpResponse:
    """A new order, examined while it is filled in. Nothing is written."""
    practice = member_of(who(request)).practice
    return findings(request, OrderSheet(practice, request.POST), practice)


@require_POST
def recheck(request: HttpRequest, number: str) -> HttpResponse:
    """The same of a change of a draft."""
    found = case_for(who(request), number)
    own_case(who(request), found)
    return findings(request, draft_sheet(request, found), found.practice, found)


def findings(request: HttpRequest, sheet: OrderSheet, practice: Practice, found: Case | None = None) -> HttpResponse:
    """What was found, as a part of the form."""
    context = {"checked": checked(sheet, practice, found), "practice": practice}
    return render(request, "orders/form/findings.html", context)
