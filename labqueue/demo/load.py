"""Load the demonstration into an empty database: laboratory, people, eight weeks of work and what is open now."""

import tomllib
from collections import Counter
from collections.abc import Mapping
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from labqueue.base.errors import Conflict, refuse
from labqueue.base.models import Series
from labqueue.demo.deliveries import Deliveries
from labqueue.demo.demand import Order, orders
from labqueue.demo.floor import Floor
from labqueue.demo.history import History, Told
from labqueue.demo.ledger import Ledger
from labqueue.demo.people import people
from labqueue.demo.shop import read_shop, stock_benches
from labqueue.demo.timeline import Timeline
from labqueue.production import setup
from orders.models import Case, Practice
from shipping import prices

FIXTURES = Path(__file__).resolve().parent.parent.parent / "fixtures"


@transaction.atomic
def load(now: datetime | None = None, seed: int = 3) -> int:
    """Write everything; how many cases there are. Raises Conflict where the database holds a practice already."""
    if Practice.objects.exists():
        raise refuse("demo", "This database is in use; the demonstration goes into an empty one.", kind=Conflict)
    now = now or timezone.now()
    laboratory, scenario = read("laboratory"), read("scenario")
    setup.load(laboratory)
    prices.load(laboratory)
    cast = people(scenario)
    shop = read_shop()
    stock_benches(shop, cast.manager, now)
    past = lived(laboratory, scenario, now, seed)
    ledger = Ledger()
    told = tell(past, History(ledger, cast, shop, now))
    deliver(told, Deliveries(ledger, cast, prices.price_list(timezone.localdate(now)), now))
    for one in told:
        ledger.seal(one.case, one.changes)
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


def tell(past: list[Order], history: History) -> list[Told]:
    """One case per order, numbered by the year in which it was opened."""
    zone = ZoneInfo(settings.TIME_ZONE)
    serials: Counter[str] = Counter()
    told = []
    for order in past:
        year = f"{datetime.fromtimestamp(order.created, zone):%y}"
        serials[year] += 1
        told.append(history.tell(order, f"{year}{serials[year]:05d}"))
    Series.objects.bulk_create(Series(name=f"case/{year}", last=last) for year, last in serials.items())
    return told


def deliver(told: list[Told], deliveries: Deliveries) -> None:
    """Pack and send what is finished, in the order in which it was packed."""
    boxes = [(one, one.boxed_at) for one in told if one.boxed_at]
    for one, boxed_at in sorted(boxes, key=lambda pair: pair[1]):
        delivery = deliveries.pack(one.case, boxed_at, one.inside, one.changes)
        if delivery:
            deliveries.send(delivery, one.inside, one.changes)
    deliveries.close()
