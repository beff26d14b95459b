"""The pages of the practice's day."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST, require_safe

from orders import reads
from orders.day import export
from orders.day.calendar import calendar_of
from orders.day.feeds import issue_feed, live, practice_of, revoke_feed
from orders.doors import cases_for, member_of
from orders.pages import who


@require_http_methods(["GET", "HEAD", "POST"])
def feeds(request: HttpRequest) -> HttpResponse:
    """The addresses of the practice's calendar; POST makes one and shows it this one time."""
    practice, fresh = member_of(who(request)).practice, ""
    if request.method == "POST":
        fresh = request.build_absolute_uri(reverse("orders:feed", args=[issue_feed(who(request))]))
    return render(request, "orders/feeds.html", {"practice": practice, "feeds": live(practice), "fresh": fresh})


@require_POST
def end_feed(request: HttpRequest, pk: int) -> HttpResponse:
    """From now on the address opens nothing."""
    revoke_feed(who(request), pk)
    messages.success(request, "The address opens nothing any more.")
    return redirect("orders:feeds")


@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponse:
    """The calendar itself, for whoever holds its address."""
    calendar = calendar_of(practice_of(token), timezone.now())
    return HttpResponse(calendar, "text/calendar; charset=utf-8", headers={"Cache-Control": "private, no-store"})


@require_GET
def cases_csv(request: HttpRequest) -> StreamingHttpResponse:
    """The list as a file for a spreadsheet."""
    state = request.GET.get("state", reads.ALL)
    reads.narrowed(cases_for(who(request)), state)
    name = f"cases-{timezone.localdate():%Y-%m-%d}.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "private, no-store"}
    return StreamingHttpResponse(export.lines(who(request), state), "text/csv; charset=utf-8", headers=headers)
