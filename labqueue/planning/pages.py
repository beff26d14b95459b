"""The pages of planning. Each address serves the page and, to htmx, its live part."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from labqueue.base.models import User
from labqueue.base.pages import by_htmx
from labqueue.planning import freshness, promise, reads
from orders.doors import case_for


@require_GET
def stations(request: HttpRequest) -> HttpResponse:
    """The bottleneck report."""
    context = {"report": reads.report(), "failure": reads.failure(), "coming": freshness.is_coming()}
    return render(request, f"planning/{'report' if by_htmx(request) else 'stations'}.html", context)


@require_GET
def bottlenecks(request: HttpRequest) -> HttpResponse:
    """The bottleneck in a few lines, for the manager's first page."""
    context = {"report": reads.report(), "failure": reads.failure()}
    template = "bottlenecks" if by_htmx(request) else "bottlenecks_page"
    return render(request, f"planning/{template}.html", context)


@require_POST
def forecast(request: HttpRequest) -> HttpResponse:
    """Ask for a new forecast."""
    freshness.ask()
    messages.info(request, "A new forecast was asked for. The figures change when it is there.")
    return redirect("planning:stations")


@require_GET
def promised(request: HttpRequest, number: str) -> HttpResponse:
    """The earliest appointment that the floor can promise to a draft; asked for where nobody has yet."""
    assert isinstance(request.user, User)
    case = case_for(request.user, number)
    context = {"case": case, "standing": promise.standing(request.user, case, timezone.now())}
    template = "promise" if by_htmx(request) else "promise_page"
    return render(request, f"planning/{template}.html", context)


@require_GET
def outlook(request: HttpRequest, number: str) -> HttpResponse:
    """What is forecast of one case."""
    assert isinstance(request.user, User)
    case = case_for(request.user, number)
    template = "outlook" if by_htmx(request) else "outlook_page"
    return render(request, f"planning/{template}.html", {"case": case, "outlook": reads.outlook_of(case)})
