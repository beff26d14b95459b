"""Load the demonstration into an empty database: laboratory, people, eight weeks of work and what is open now."""

import tomllib
from collections.abc import Mapping
from datetime import datetime, timedelta
from itertools import count
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from labqueue.base.errors import Conflict, refuse
from labqueue.base.models import Series
from labqueue.demo.demand import Order, orders
from labqueue.demo.floor import Floor
from labqueue.demo.history import History
from labqueue.demo.ledger import Ledger
from labqueue.demo.people import people
from labqueue.demo.shop import read_shop, stock_benches
from labqueue.demo.timeline import Timeline
from labqueue.production import setup
from orders.models import Case, Practice

FIXTURES = Path(__file__).resolve().parent.parent.parent / "fixtures"


@transaction.atomic
def load(now: datetime | None = None, seed: int = 1) -> int:
    """Write everything; how many cases there are. Raises Conflict where the database holds a practice already."""
    if Practice.objects.exists():
        raise refuse("demo", "This database is in use; the demonstration goes into an empty one.", kind=Conflict)
    now = now or timezone.now()
    laboratory, scenario = read("laboratory"), read("scenario")
    setup.load(laboratory)
    cast = people(scenario)
    shop = read_shop()
    stock_benches(shop, cast.manager, now)
    past = lived(laboratory, scenario, now, seed)
    ledger = Ledger()
    write_cases(past, History(ledger, cast, shop, now), ledger)
    ledger.write()
    return Case.objects.count()


def read(name: str) -> dict[str, Any]:
    """One file of the fixtures."""
    return tomllib.loads((FIXTURES / f"{name}.toml").read_text())


def lived(laboratory: Mapping[str, Any], scenario: Mapping[str, Any], now: datetime, seed: int) -> list[Order]:
    """The orders up to now, with what happened to them on the floor."""
    zone = ZoneInfo(settings.TIME_ZONE)
    today = now.astimezone(zone).date()
    first = today - timedelta(weeks=scenario["demand"]["weeks"] + 1)
    past = [order for order in orders(scenario, today, zone, seed) if order.created <= now.timestamp()]
    Timeline(laboratory, list(Practice.objects.order_by("pk")), first, zone).lay(past)
    Floor(laboratory, first, today, zone, seed).run(past, now.timestamp())
    return past


def write_cases(past: list[Order], history: History, ledger: Ledger) -> None:
    """One case per order, numbered by the year in which it was opened."""
    zone = ZoneInfo(settings.TIME_ZONE)
    serials: dict[str, count[int]] = {}
    told = []
    for order in past:
        year = f"{datetime.fromtimestamp(order.created, zone):%y}"
        number = f"{year}{next(serials.setdefault(year, count(1))):05d}"
        told.append(history.tell(order, number))
    for case, changes in told:
        ledger.seal(case, changes)
    for year, serial in serials.items():
        Series.objects.create(name=f"case/{year}", last=next(serial) - 1)
