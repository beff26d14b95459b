"""What all pages share: the laboratory's name, and refusals shown as a page or as a fragment."""

from collections.abc import Callable

from django.conf import settings
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from labqueue.base.errors import Refusal


def laboratory(request: HttpRequest) -> dict[str, str]:
    """Context of every page."""
    return {"lab_name": settings.LAB_NAME, "lab_zone": settings.TIME_ZONE}


def by_htmx(request: HttpRequest) -> bool:
    """Whether a part of a page is asked for, not the page."""
    return bool(request.headers.get("HX-Request"))


def show_refusal(request: HttpRequest, refusal: Refusal) -> HttpResponse:
    """The refusal as a page; as a fragment for the notice area where htmx asked."""
    template = "base/refusal_fragment.html" if by_htmx(request) else "base/refusal.html"
    response = render(request, template, {"refusal": refusal}, status=refusal.status)
    response.headers["HX-Retarget"], response.headers["HX-Reswap"] = "#notice", "innerHTML"
    response.headers["HX-Reselect"] = "unset"  # or hx-select of the asking element would pick nothing out of it
    return response


def onto_form(form: BaseForm, refusal: Refusal) -> None:
    """Show each fault at its field of the form; at the top where the form has no such field."""
    for fault in refusal.faults:
        name = fault.field.replace(".", "-")
        form.add_error(name if name in form.fields else None, fault.message)


class RefusalPages:
    """Middleware: a refusal that a page raises is shown in one shape. The interface for programs has its own."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Only refusals; everything else goes its usual way."""
        return show_refusal(request, exception) if isinstance(exception, Refusal) else None
