"""The demonstration's shop as rows, looked up by their codes."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import datetime

from labqueue.base.models import User
from labqueue.demo.people import Cast
from labqueue.production.models import Lot, LotInUse, RouteStep, Station
from orders.materials import Material

# Who works where there is no bench of its own.
STAND_INS = {"wet-milling": "milling", "crystallisation": "sintering"}


@dataclass
class Shop:
    """Steps by make, in their order; lots by what they are of."""

    plans: dict[str, list[RouteStep]] = field(default_factory=lambda: defaultdict(list))
    lots: dict[str, Lot] = field(default_factory=dict)
    stations: list[Station] = field(default_factory=list)

    def staff(self, station: str, cast: Cast) -> list[User]:
        """Who scans there."""
        return cast.benches[STAND_INS.get(station, station)]


def read_shop() -> Shop:
    """The shop as it was loaded."""
    shop = Shop(lots={lot.what: lot for lot in Lot.objects.all()}, stations=list(Station.objects.all()))
    for plan in (
        RouteStep.objects.filter(route__active=True).select_related("route", "station").order_by("route", "seq")
    ):
        shop.plans[plan.route.make].append(plan)
    return shop


def stock_benches(shop: Shop, by: User, now: datetime) -> None:
    """Put a lot of every material and part into use wherever a route takes it."""
    wanted = {(plan.station, what) for plans in shop.plans.values() for plan in plans for what in takes(plan, shop)}
    LotInUse.objects.bulk_create(
        LotInUse(station=station, what=what, lot=shop.lots[what], since=now, by=by)
        for station, what in sorted(wanted, key=lambda pair: (pair[0].code, pair[1]))
    )


def takes(plan: RouteStep, shop: Shop) -> list[str]:
    """What a step may take: its part, or any material in stock."""
    if plan.takes != "material":
        return [plan.takes] if plan.takes else []
    return [what for what in shop.lots if what in Material.values]
