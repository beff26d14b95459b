"""Load the demonstration into an empty database: laboratory, people, eight weeks of work and what is open now."""

import gc
import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction
from django.db.models import Model
from django.utils import timezone

from labqueue.base.errors import Conflict, refuse
from labqueue.base.models import Chain, OutboxRow, Series, User
from labqueue.demo.deliveries import Deliveries
from labqueue.demo.demand import Order, orders
from labqueue.demo.floor import Floor
from labqueue.demo.history import History, Told
from labqueue.demo.ledger import Ledger
from labqueue.demo.people import Cast, people
from labqueue.demo.shop import Shop, read_shop, stock_benches
from labqueue.demo.timeline import Timeline
from labqueue.demo.trials import Trials
from labqueue.production import setup
from labqueue.production.models import Station
from orders.models import Practice
from shipping import prices

FIXTURES = Path(__file__).resolve().parent.parent.parent / "fixtures"


# What any use of a database leaves in it.
TRACES: dict[str, type[Model]] = {
    "people": User,
    "practices": Practice,
    "stations": Station,
    "an audit trail": Chain,
    "number series": Series,
    "work for a worker": OutboxRow,
}


@transaction.atomic
def load(now: datetime | None = None, seed: int = 3) -> int:
    """Write everything; how many cases there are. Raises Conflict where the database is in use."""
    check_empty()
    cast, shop = furnish()
    ledger = Ledger()
    with all_kept():
        told = retell(ledger, cast, shop, now or timezone.now(), seed)
        ledger.write()
    return len(told)


def check_empty() -> None:
    """Raise Conflict where somebody has used the database: names and numbers of the demonstration may be taken."""
    used = [what for what, kind in TRACES.items() if kind._default_manager.exists()]
    if used:
        why = f"This database is in use: it holds {', '.join(used)}. The demonstration goes into an empty one."
        raise refuse("demo", why, kind=Conflict)


def furnish() -> tuple[Cast, Shop]:
    """Write the laboratory with its people, practices and prices, a lot of everything in use."""
    laboratory = read("laboratory")
    setup.load(laboratory)
    prices.load(laboratory)
    cast, shop = people(read("scenario")), read_shop()
    stock_benches(shop, cast.manager)
    return cast, shop


def retell(ledger: Ledger, cast: Cast, shop: Shop, now: datetime, seed: int) -> list[Told]:
    """Everything that happened up to `now` as rows in the ledger, none written yet; one story per case."""
    past = lived(read("laboratory"), read("scenario"), cast.practices, now, seed)
    told = tell(past, History(ledger, cast, shop, now))
    deliver(told, Deliveries(ledger, cast, now))
    trials = Trials(ledger, cast, now)
    for one in told:
        trials.evaluate(one)
        ledger.seal(one.case, one.changes)
    return told


@contextmanager
def all_kept() -> Iterator[None]:
    """Within it nothing is garbage, so that nobody need look for it: that would take a quarter of the time."""
    gc.disable()
    try:
        yield
    finally:
        gc.enable()


def read(name: str) -> dict[str, Any]:
    """One file of the fixtures."""
    return tomllib.loads((FIXTURES / f"{name}.toml").read_text())


def lived(
    laboratory: Mapping[str, Any], scenario: Mapping[str, Any], practices: Sequence[Practice], now: datetime, seed: int
) -> list[Order]:
    """The orders up to now, with what happened to them on the floor."""
    zone = ZoneInfo(settings.TIME_ZONE)
    today = now.astimezone(zone).date()
    first = today - timedelta(weeks=scenario["demand"]["weeks"] + 1)
    past = [order for order in orders(scenario, today, zone, seed) if order.created <= now.timestamp()]
    Timeline(laboratory, practices, first, zone).lay(past)
    Floor(laboratory, first, today, zone, seed).run(past, now.timestamp())
    return past


def tell(past: list[Order], history: History) -> list[Told]:
    """One case per order, numbered by the year in which it was opened; the series goes on behind the last."""
    zone = ZoneInfo(settings.TIME_ZONE)
    serials: Counter[str] = Counter()
    told = []
    for order in past:
        year = f"{datetime.fromtimestamp(order.created, zone):%y}"
        serials[year] += 1
        told.append(history.tell(order, f"{year}{serials[year]:05d}"))
    history.ledger.number({f"case/{year}": last for year, last in serials.items()})
    return told


def deliver(told: list[Told], deliveries: Deliveries) -> None:
    """Pack what is finished, and send the boxes in the order in which they are picked up."""
    packed = [(delivery, one) for one in told if (delivery := deliveries.pack(one))]
    for delivery, one in sorted(packed, key=lambda pair: deliveries.pick_up(pair[0].packed_at)):
        deliveries.send(delivery, one)
    deliveries.ledger.number({f"invoice/{year}": last for year, last in deliveries.serials.items()})
