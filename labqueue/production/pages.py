"""The pages of the floor. A scan and a lot work as plain forms; with htmx only the parts that changed are sent."""

from typing import Any
from uuid import UUID, uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from labqueue.base.errors import Refusal
from labqueue.base.models import User
from labqueue.base.pages import by_htmx, onto_form
from labqueue.production import reads
from labqueue.production.forms import LotForm, read_key, split_line
from labqueue.production.lots import use_lot
from labqueue.production.models import Station
from labqueue.production.pieces import amended
from labqueue.production.release import release
from labqueue.production.scan import ScanResult, result_of, scan
from labqueue.production.stations import station_for
from labqueue.production.stop import stop
from orders.doors import case_for
from orders.models import Case


@require_GET
def stations(request: HttpRequest) -> HttpResponse:
    """All stations, to choose one's own."""
    return render(request, "production/stations.html", {"loads": reads.loads()})


@require_GET
def bench(request: HttpRequest, code: str) -> HttpResponse:
    """One station: the scan field, the last result, the queue, the lots in use."""
    station = station_for(code)
    return show_bench(request, station, result=_asked_for(request, station))


@require_GET
def queue(request: HttpRequest, code: str) -> HttpResponse:
    """The queue alone, which the page of the station asks for again and again."""
    template = "queue" if by_htmx(request) else "queue_page"
    station = station_for(code)
    return render(request, f"production/{template}.html", {"station": station, "queue": reads.queue(station)})


@require_POST
def scan_line(request: HttpRequest, code: str) -> HttpResponse:
    """One line from a scanner. The key in the form makes a line that is sent twice count once."""
    station = station_for(code)
    line = request.POST.get("line", "")
    try:
        key = read_key(request.POST.get("key", ""))
        piece, action = split_line(line)
        result = scan(_person(request), key=key, code=piece, station=station.code, action=action)
    except Refusal as refusal:
        return show_bench(request, station, refusal=refusal, line=line)
    if result.repeated:
        messages.info(request, "This scan was counted before. Nothing was written this time.")
    if by_htmx(request):
        return show_bench(request, station, result=result)
    return redirect(f"{reverse('production:bench', args=[station.code])}?scan={key}")


@require_POST
def lot(request: HttpRequest, code: str) -> HttpResponse:
    """Put a lot into use."""
    station = station_for(code)
    form = LotForm(station, request.POST)
    if form.is_valid():
        try:
            in_use = use_lot(_person(request), station, **form.cleaned_data)
            messages.success(request, f"{in_use.lot} is in use at {station.name}.")
            return redirect("production:bench", station.code)
        except Refusal as refusal:
            onto_form(form, refusal)
    return show_bench(request, station, lot_form=form)


@require_POST
def release_case(request: HttpRequest, number: str) -> HttpResponse:
    """Release a case to the floor."""
    case = case_for(_person(request), number)
    pieces = release(_person(request), case)
    messages.success(request, f"{case} is on the floor with {len(pieces)} piece{'s' if len(pieces) > 1 else ''}.")
    return redirect("orders:case", case.number)


@require_POST
def stop_case(request: HttpRequest, number: str) -> HttpResponse:
    """Stop a case that is being made."""
    case = case_for(_person(request), number)
    stop(_person(request), case, request.POST.get("reason", ""))
    messages.success(request, f"{case} is stopped. What was made of it stands on the case.")
    return redirect("orders:case", case.number)


@require_GET
def floor(request: HttpRequest, number: str) -> HttpResponse:
    """Where the pieces of a case are: a part of the case's page, or a page of its own."""
    case = case_for(_person(request), number)
    releasable = case.state == Case.State.ACCEPTED or (case.state in reads.FLOOR_STATES and amended(case))
    items = [(item, reads.progress(item)) for item in reads.floor_of(case)]
    stopped = case.state == Case.State.CANCELLED and case.work_items.exists()
    context = {"case": case, "items": items, "releasable": releasable, "stopped": stopped}
    return render(request, f"production/{'floor' if by_htmx(request) else 'floor_page'}.html", context)


def show_bench(
    request: HttpRequest,
    station: Station,
    *,
    result: ScanResult | None = None,
    refusal: Refusal | None = None,
    line: str = "",
    lot_form: LotForm | None = None,
) -> HttpResponse:
    """The page of a station with a fresh key; only its changing parts where htmx asked."""
    form = lot_form or LotForm(station)
    in_use = {one.what: one for one in reads.lots_in_use(station)}
    context: dict[str, Any] = {
        "station": station,
        "key": uuid4(),
        "queue": reads.queue(station),
        "result": result,
        "refusal": refusal,
        "line": line,
        "typing": "keyboard" in request.GET,
        "lot_form": form,
        "lots": sorted([(text, in_use.get(what)) for what, text in form.choices], key=lambda pair: pair[1] is not None),
    }
    status = refusal.status if refusal else 422 if lot_form else 200
    template = "production/scan_answer.html" if by_htmx(request) else "production/bench.html"
    return render(request, template, context, status=status)


def _asked_for(request: HttpRequest, station: Station) -> ScanResult | None:
    """The scan that the address names, so that a reload shows it again and counts nothing."""
    try:
        found = result_of(UUID(request.GET.get("scan", "")))
    except ValueError:
        return None
    return found if found and found.scan.station_id == station.pk else None


def _person(request: HttpRequest) -> User:
    assert isinstance(request.user, User)
    return request.user
