"""The demonstration's shop as rows, looked up by their codes."""

from collections import defaultdict
from dataclasses import dataclass, field

from labqueue.base.models import User
from labqueue.demo.people import Cast
from labqueue.production.lots import needed, use_lot
from labqueue.production.models import Lot, RouteStep, Station

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


def stock_benches(shop: Shop, by: User) -> None:
    """Put a lot of every material and part into use wherever a route takes it."""
    for station in shop.stations:
        for what in needed(station):
            use_lot(by, station, what, shop.lots[what].number)
