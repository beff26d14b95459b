"""Reads the floor into a snapshot, in a fixed number of queries."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django.db.models import Max, Prefetch, QuerySet
from django.utils import timezone

from labqueue.base.models import ClosedDay, Event
from labqueue.planning.arrivals import WINDOW
from labqueue.planning.pieces import items_to_make, pieces_of, planned
from labqueue.planning.snapshot import Hours, OpenCase, Ordered, Place, Server, Snapshot, Step
from labqueue.production.models import Absence, Resource, Route, RouteStep, Shift, Station, WorkItem, WorkStep
from orders.makes import make_of
from orders.models import Case, Item, Prescription

# A case that is signed may be accepted at any moment; one that is packed has left the floor.
FORECAST_STATES = (Case.State.SIGNED, Case.State.ACCEPTED, Case.State.RELEASED, Case.State.FINISHED)


def look(now: datetime) -> Snapshot:
    """The laboratory as it stands.

    The version is read first: a change that comes while the rest is read counts as not yet known.
    """
    version = latest_event()
    routes = {route.make: plan(route) for route in active_routes()}
    return Snapshot(
        now=now,
        version=version,
        zone=timezone.get_default_timezone_name(),
        stations={station.code: place(station) for station in Station.objects.all()},
        hours={shift.name: Hours(shift.week, shift.always) for shift in Shift.objects.order_by("pk")},
        servers=tuple(server(resource) for resource in servers(now)),
        routes=routes,
        cases=tuple(open_case(case, routes) for case in open_cases()),
        ordered=tuple(ordered(now)),
        closed=frozenset(ClosedDay.objects.filter(day__gte=(now - 2 * WINDOW).date()).values_list("day", flat=True)),
    )


def latest_event() -> int:
    """The last change that is on record; 0 where there is none."""
    return Event.objects.aggregate(last=Max("pk"))["last"] or 0


def place(station: Station) -> Place:
    """A station as planning sees it."""
    return Place(
        name=station.name,
        rule=station.rule,
        checks=station.kind == Station.Kind.QUALITY,
        packs=station.kind == Station.Kind.PACKING,
    )


def active_routes() -> "QuerySet[Route]":
    """The route in use of each make, with its steps."""
    steps = Prefetch("steps", RouteStep.objects.select_related("station").order_by("seq"))
    return Route.objects.filter(active=True).prefetch_related(steps).order_by("make")


def plan(route: Route) -> tuple[Step, ...]:
    """The steps of a route, none begun."""
    steps = list(route.steps.all())
    names = {step.seq: step.name for step in steps}
    return tuple(planned(step, names, step.station.code) for step in steps)


def servers(now: datetime) -> "QuerySet[Resource]":
    """Resources with their stations and those absences that are not over."""
    absences = Prefetch("absences", Absence.objects.filter(end__gt=now).order_by("start"))
    return Resource.objects.select_related("shift").prefetch_related("stations", absences).order_by("pk")


def server(resource: Resource) -> Server:
    """A resource with its load, if it fires."""
    return Server(
        name=resource.name,
        stations=tuple(station.code for station in resource.stations.all()),
        hours=resource.shift.name,
        count=resource.count,
        pauses=resource.pauses,
        load=load(resource),
        away=tuple((absence.start, absence.end) for absence in resource.absences.all()),
    )


def load(resource: Resource) -> dict[str, Any] | None:
    """How a furnace fills; None for what takes one piece at a time."""
    if resource.load_capacity is None:
        return None
    stated = {
        "capacity": resource.load_capacity,
        "wait_minutes": resource.load_wait_minutes,
        "start_at": resource.load_start_at,
    }
    return {key: value for key, value in stated.items() if value not in (None, [])}


def open_cases() -> "QuerySet[Case]":
    """The cases of which a forecast is wanted, oldest first, with their pieces and what these were ordered as."""
    steps = Prefetch("steps", WorkStep.objects.select_related("plan", "station").order_by("seq"))
    ordered_as = Prefetch("prescription", Prescription.objects.prefetch_related("items"))
    items = WorkItem.objects.exclude(state=WorkItem.State.WITHDRAWN).order_by("line")
    return (
        Case.objects.filter(state__in=FORECAST_STATES)
        .select_related("current")
        .prefetch_related(
            Prefetch("work_items", items.prefetch_related(steps, ordered_as)),
            Prefetch("current__items", Item.objects.order_by("line")),
        )
        .order_by("pk")
    )


def open_case(case: Case, routes: dict[str, tuple[Step, ...]]) -> OpenCase:
    """A case with the pieces that are on the floor or will be once it is released."""
    missing = sorted({str(item.make.label) for item in items_to_make(case) if item.make not in routes})
    pieces = [] if missing else pieces_of(case, routes)
    return OpenCase(
        pk=case.pk,
        number=case.number,
        due_at=case.due_at,
        held_since=case.held_since,
        pieces=tuple(pieces),
        unstated=unstated(missing, bool(pieces)),
    )


def unstated(missing: list[str], has_pieces: bool) -> str:
    """Why a case cannot be forecast; empty where it can."""
    if missing:
        return f"there is no route in use for: {', '.join(missing)}"
    return "" if has_pieces else "it has no pieces"


def ordered(now: datetime) -> Iterator[Ordered]:
    """The pieces of the orders that were signed for the first time lately."""
    rows = Item.objects.filter(
        prescription__version=1, prescription__signed_at__gt=now - WINDOW, prescription__signed_at__lte=now
    ).exclude(prescription__case__state=Case.State.CANCELLED)
    fields = ("prescription__signed_at", "kind", "material", "layered", "prescription__case__first_due_at")
    for at, kind, material, layered, due_at in rows.order_by("pk").values_list(*fields):
        yield Ordered(at, make_of(kind, material, layered), material, due_at)
