"""The floor for tests, made by the real verbs: the demonstration's stations, released cases, pieces scanned through."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

from django.utils import timezone

from labqueue.base.models import User
from labqueue.production import setup
from labqueue.production.lots import needed, use_lot
from labqueue.production.models import Lot, Scan, Station, WorkItem, WorkStep
from labqueue.production.release import release
from labqueue.production.scan import ScanResult, scan
from orders.models import Case
from tests import cast
from tests.orders.build import confirmed_case

HALF_A_DAY = timedelta(hours=12)


def shop(lots: bool = True) -> None:
    """The stations, routes and lots of the demonstration, every lot in use where it is needed."""
    setup.load(cast.laboratory())
    for station in Station.objects.all() if lots else ():
        for what in needed(station):
            use_lot(cast.technician(), station, what, Lot.objects.filter(what=what)[0].number)


def released_case(**facts: Any) -> Case:
    """A case on the floor for half a day, of which nothing was scanned yet; the shop is set up where it is not."""
    if not Station.objects.exists():
        shop()
    case = confirmed_case(**facts)
    release(cast.manager(), case)
    case.work_items.update(released_at=timezone.now() - HALF_A_DAY)
    return case


def piece(case: Case, kind: str = "crown") -> WorkItem:
    """The live piece of that kind."""
    return case.work_items.exclude(state=WorkItem.State.WITHDRAWN).get(kind=kind)


def send(item: WorkItem, station: str, actor: User | None = None, **facts: Any) -> ScanResult:
    """One scan of a piece under a fresh key."""
    given = {"key": uuid4(), "code": item.code, "station": station, **facts}
    return scan(actor or cast.technician(), **given)


def times() -> Iterator[datetime]:
    """Instants up to now, a minute apart, so that no scan looks like a second trigger of the one before."""
    at = timezone.now() - HALF_A_DAY
    while True:
        yield at
        at += timedelta(minutes=1)


def scan_through(item: WorkItem, until: str = "", actor: User | None = None) -> list[ScanResult]:
    """Start and end every step that is left, up to but not at the station `until`; to the very end without it."""
    assert not until or item.steps.filter(station__code=until).exists(), f"{item} never comes to {until}"
    results, clock = [], times()
    for step in item.steps.exclude(state=WorkStep.State.DONE).select_related("station").order_by("seq"):
        if step.station.code == until:
            break
        for action in [Scan.Action.START, Scan.Action.DONE][step.state == WorkStep.State.RUNNING :]:
            results.append(send(item, step.station.code, actor, action=action, occurred_at=next(clock)))
    return results


def finished_case(**facts: Any) -> Case:
    """A case of which every piece is through its quality check, abutments first."""
    case = released_case(**facts)
    for item in case.work_items.order_by("kind", "line"):
        scan_through(item, until="packing")
    case.refresh_from_db()
    return case
