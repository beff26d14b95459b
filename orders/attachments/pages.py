"""Files of a case on pages: a part of the case's page, a page of its own, the file itself and its picture."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from labqueue.base.errors import Refusal
from labqueue.base.pages import by_htmx, onto_form
from orders.attachments.forms import FileForm
from orders.attachments.hand_out import file_of, picture_of
from orders.attachments.reads import file_for, files_of
from orders.attachments.receive import receive, takes_files
from orders.attachments.withdraw import may_withdraw
from orders.attachments.withdraw import withdraw as take_back
from orders.doors import case_for
from orders.models import Case
from orders.pages import who
from orders.talk.reads import may_write


@require_http_methods(["GET", "POST"])
def files(request: HttpRequest, number: str) -> HttpResponse:
    """The files of a case. POST takes one more in."""
    case = case_for(who(request), number)
    form = FileForm(case, who(request).works_here)
    if request.method == "POST":
        form = FileForm(case, who(request).works_here, request.POST, request.FILES)
        try:
            if form.is_valid():
                sent = form.cleaned_data
                ticked = {"no_face": sent["no_face"], "consent": sent["consent"]}
                kept = receive(who(request), case, sent["role"], sent["file"], **ticked)
                messages.success(request, f"{kept.get_role_display()} is with case {case.number}.")
                return redirect("orders:files", case.number)
        except Refusal as refusal:
            onto_form(form, refusal)
    return show(request, case, form)


def show(request: HttpRequest, case: Case, form: FileForm) -> HttpResponse:
    """The list and the form; 422 where a file was refused."""
    context = {**listed(request, case), "form": form, "may_send": may_send(request, case)}
    template = "files" if by_htmx(request) else "files_page"
    return render(request, f"orders/{template}.html", context, status=422 if form.errors else 200)


def listed(request: HttpRequest, case: Case) -> dict[str, Any]:
    """The files with what can be done with each; `looking` says that a worker is at one of them."""
    person, found = who(request), list(files_of(case))
    rows = [(one, may_write(person) and may_withdraw(person, case, one)) for one in found]
    looking = any(one.state == one.State.CHECKING and not one.set_aside for one in found)
    return {"case": case, "rows": rows, "looking": looking}


def may_send(request: HttpRequest, case: Case) -> bool:
    """Whether the form is worth showing."""
    return may_write(who(request)) and takes_files(case)


@require_GET
def file(request: HttpRequest, pk: int) -> HttpResponseBase:
    """The file, to be saved."""
    return file_of(file_for(who(request), pk))


@require_GET
def preview(request: HttpRequest, pk: int) -> HttpResponseBase:
    """Its picture."""
    return picture_of(file_for(who(request), pk))


@require_POST
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a file back."""
    found = file_for(who(request), pk)
    take_back(who(request), found.case, found)
    messages.success(request, f"{found.get_role_display()} is withdrawn.")
    return redirect("orders:files", found.case.number)
