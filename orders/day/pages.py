"""The pages of the practice's day."""

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST, require_safe

from labqueue.base.errors import Refusal
from labqueue.base.forms import HouseForm
from labqueue.base.pages import onto_form
from orders import reads
from orders.day import export
from orders.day.calendar import calendar_of
from orders.day.closed import ahead, close_day, reopen_day
from orders.day.feeds import issue_feed, live, practice_of, revoke_feed
from orders.doors import cases_for, member_of
from orders.pages import who


class ClosedDayForm(HouseForm):
    """One more day without deliveries."""

    day = forms.DateField(label="Day", widget=forms.DateInput(attrs={"type": "date"}))
    name = forms.CharField(label="Why", help_text="Such as “Bank holiday” or “Congress”.")


@require_http_methods(["GET", "HEAD", "POST"])
def feeds(request: HttpRequest) -> HttpResponse:
    """The practice's closed days and the addresses of its calendar; POST makes an address, shown this one time."""
    fresh = ""
    if request.method == "POST":
        fresh = request.build_absolute_uri(reverse("orders:feed", args=[issue_feed(who(request))]))
    return calendar_page(request, ClosedDayForm(), fresh)


def calendar_page(request: HttpRequest, form: ClosedDayForm, fresh: str = "") -> HttpResponse:
    """The page of the calendar; 422 where the form was refused."""
    practice = member_of(who(request)).practice
    context = {"practice": practice, "feeds": live(practice), "closed": ahead(practice), "form": form, "fresh": fresh}
    return render(request, "orders/feeds.html", context, status=Refusal.status if form.errors else 200)


@require_POST
def close(request: HttpRequest) -> HttpResponse:
    """No deliveries on one more day."""
    form = ClosedDayForm(request.POST)
    if form.is_valid():
        try:
            closed = close_day(who(request), form.cleaned_data["day"], form.cleaned_data["name"])
        except Refusal as refusal:
            onto_form(form, refusal)
        else:
            messages.success(request, f"Dates are counted without {closed.day:%a %-d %b %Y} from now on.")
            return redirect("orders:feeds")
    return calendar_page(request, form)


@require_POST
def reopen(request: HttpRequest, pk: int) -> HttpResponse:
    """Deliveries on that day after all."""
    reopen_day(who(request), pk)
    messages.success(request, "The day counts again.")
    return redirect("orders:feeds")


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
