"""Setting the laboratory up from its data."""

import copy
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.utils import timezone

from labqueue.base.errors import Refusal
from labqueue.base.models import Event
from labqueue.production import setup
from labqueue.production.models import Lot, Resource, Route, RouteStep, Shift, Station
from orders.makes import Make
from tests import cast

pytestmark = pytest.mark.django_db


def data() -> dict[str, Any]:
    """A copy of the demonstration's data that a test may spoil."""
    return copy.deepcopy(cast.laboratory())


def route(name: str = "zirconia_crown", shop: dict[str, Any] | None = None) -> list[dict[str, Any]]:
    """The steps of a route in that data."""
    steps: list[dict[str, Any]] = (shop or data())["routes"][name]
    return steps


def refused(shop: dict[str, Any]) -> Refusal:
    """The refusal of that data, after which nothing may be there."""
    with pytest.raises(Refusal) as caught:
        setup.load(shop)
    for model in (Station, Shift, Resource, Route, RouteStep, Lot, Event):
        assert not model.objects.exists()
    return caught.value


def test_stations_keep_their_order_kind_and_rule() -> None:
    setup.load(data())
    stations = list(Station.objects.values_list("code", "kind", "rule"))
    assert stations[0] == ("intake", "bench", "edd")
    assert stations[-1] == ("packing", "packing", "edd")
    assert len(stations) == len(data()["stations"])


def test_resources_serve_their_stations_by_their_shift() -> None:
    setup.load(data())
    furnaces = Resource.objects.get(name="Sintering furnaces")
    assert [station.code for station in furnaces.stations.all()] == ["sintering"]
    assert (furnaces.shift.name, furnaces.count, furnaces.pauses) == ("furnaces", 2, False)
    assert (furnaces.load_capacity, furnaces.load_wait_minutes, furnaces.load_start_at) == (30, None, ["17:00"])


def test_there_is_an_active_route_for_every_make() -> None:
    setup.load(data())
    assert set(Route.objects.filter(active=True).values_list("make", flat=True)) == set(Make.values)


def test_a_step_keeps_times_failures_joins_and_what_it_takes() -> None:
    shop = data()
    shop["routes"]["zirconia_crown"][3] |= {"fail": 0.02, "back_to": "mill"}
    setup.load(shop)
    steps = list(RouteStep.objects.filter(route__make="zirconia_crown"))
    sinter, finish = steps[3], steps[4]
    assert sinter.minutes == route(shop=shop)[3]["minutes"]
    assert sinter.wait == route(shop=shop)[3]["wait"]
    assert (sinter.fail_probability, sinter.back_to) == (0.02, 3)
    assert (finish.joins, steps[2].takes) == (True, "material")


def test_lots_expire_counted_from_today() -> None:
    setup.load(data())
    lot = Lot.objects.get(what="titanium")
    assert lot.expires == timezone.localdate() + timedelta(days=540)


def test_loading_twice_changes_nothing() -> None:
    setup.load(data())
    before = list(RouteStep.objects.order_by("pk").values())
    setup.load(data())
    assert list(RouteStep.objects.order_by("pk").values()) == before
    assert Station.objects.count() == len(data()["stations"])
    assert Resource.objects.count() == len(data()["resources"])


def told(verb: str) -> list[tuple[dict[str, Any], dict[str, Any]]]:
    """What the trail says under that verb, before and after, oldest first."""
    events = Event.objects.filter(chain__name=setup.TRAIL, verb=verb).order_by("seq")
    return [(event.before, event.after) for event in events]


def test_what_is_made_stands_in_the_trail_one_event_per_kind() -> None:
    setup.load(data(), cast.manager())
    events = Event.objects.filter(chain__name=setup.TRAIL).order_by("seq")
    kinds = ("stations", "shifts", "resources", "routes", "lots")
    assert [(event.verb, event.actor) for event in events] == [(f"{kind} set up", cast.manager()) for kind in kinds]
    (nothing, stations), *more = told("stations set up")
    assert (nothing, more, len(stations)) == ({}, [], len(data()["stations"]))
    assert stations["intake"] == {"name": "Intake", "kind": "bench", "rule": "edd", "position": 1}
    assert told("routes set up")[0][1]["zirconia_crown"] == {"version": 1}


def test_loading_twice_adds_nothing_to_the_trail() -> None:
    setup.load(data())
    before = Event.objects.count()
    setup.load(data())
    assert Event.objects.count() == before


def test_a_change_stands_in_the_trail_with_what_was_before() -> None:
    setup.load(data())
    shop = data()
    shop["stations"][0]["name"] = "Reception"
    shop["resources"][5]["count"] = 3
    shop["resources"][3]["stations"].append("design")
    shop["routes"]["zirconia_crown"][1]["minutes"] = {"fixed": 9}
    setup.load(shop)
    resource, miller = shop["resources"][5]["name"], shop["resources"][3]["name"]
    old, new = told("resources set up")[1]
    assert (old[resource], new[resource]) == ({"count": data()["resources"][5]["count"]}, {"count": 3})
    assert "design" not in old[f"{miller} serves"]["stations"]
    assert "design" in new[f"{miller} serves"]["stations"]
    assert told("stations set up")[1] == ({"intake": {"name": "Intake"}}, {"intake": {"name": "Reception"}})
    assert told("routes set up")[1] == ({"zirconia_crown": {"version": 1}}, {"zirconia_crown": {"version": 2}})
    assert Event.objects.filter(chain__name=setup.TRAIL).count() == 5 + 3


def test_a_lot_on_file_keeps_its_expiry_and_product_and_a_new_one_is_told() -> None:
    with time_machine.travel("2026-03-02T15:00Z"):
        setup.load(data())
    before = list(Lot.objects.order_by("pk").values())
    shop = data()
    shop["lots"][0]["product"] = "Another Disc"
    shop["lots"].append({"what": "titanium", "number": "TI-NEW", "product": "New Blank", "expires_days": 10})
    with time_machine.travel("2027-09-02T15:00Z"):
        setup.load(shop)
    assert list(Lot.objects.exclude(number="TI-NEW").order_by("pk").values()) == before
    new = {"titanium TI-NEW": {"product": "New Blank", "expires": "2027-09-12"}}
    assert told("lots set up")[1:] == [({}, new)]


def test_a_changed_route_becomes_a_new_version_and_the_old_one_stays() -> None:
    setup.load(data())
    old = Route.objects.get(make="zirconia_crown")
    shop = data()
    shop["routes"]["zirconia_crown"][1]["minutes"] = {"fixed": 9}
    setup.load(shop)
    new = Route.objects.get(make="zirconia_crown", active=True)
    assert (old.version, new.version) == (1, 2)
    assert old.steps.get(seq=2).minutes != {"fixed": 9} == new.steps.get(seq=2).minutes
    assert Route.objects.filter(make="glass_crown").count() == 1


def test_a_station_is_renamed_not_doubled() -> None:
    setup.load(data())
    shop = data()
    shop["stations"][0]["name"] = "Reception"
    setup.load(shop)
    assert Station.objects.get(code="intake").name == "Reception"


SPOILT = {
    "stations.0.kind": (("stations", 0, "kind"), "oven", "stations[0].kind"),
    "stations.1.code": (("stations", 1, "code"), "intake", "stations"),
    "stations.0.rule": (("stations", 0, "rule"), "luck", "stations[0].rule"),
    "shift's clock": (("shifts", "early", "week", "mon"), [["12:00", "08:00"]], "shifts.early.week.mon[0]"),
    "shift's key": (("shifts", "early", "weak"), {}, "shifts.early.weak"),
    "resource's station": (("resources", 3, "stations"), ["miling"], "resources[3].stations[0]"),
    "resource's shift": (("resources", 3, "shift"), "night", "resources[3].shift"),
    "resource's load": (("resources", 5, "load"), {"capacity": 0}, "resources[5].load.capacity"),
    "nobody at the station": (("resources", 2, "count"), 0, "routes.resin_crown[1].station"),
    "make": (("routes", "gold_crown"), [], "routes.gold_crown"),
    "step's station": (("routes", "zirconia_crown", 2, "station"), "miling", "routes.zirconia_crown[2].station"),
    "step's minutes": (("routes", "zirconia_crown", 2, "minutes"), {"triangular": [9, 1, 3]}, "zirconia_crown[2].min"),
    "step's wait": (("routes", "zirconia_crown", 3, "wait"), -5, "routes.zirconia_crown[3].wait"),
    "certain failure": (("routes", "zirconia_crown", 2, "fail"), 1, "routes.zirconia_crown[2].fail"),
    "back to a later step": (("routes", "zirconia_crown", 2, "back_to"), "finish", "routes.zirconia_crown[2].back_to"),
    "step twice": (("routes", "zirconia_crown", 2, "name"), "design", "routes.zirconia_crown"),
    "unknown part": (("routes", "zirconia_crown", 2, "takes"), "gold", "routes.zirconia_crown[2].takes"),
    "joins": (("routes", "zirconia_crown", 4, "joins"), "yes", "routes.zirconia_crown[4].joins"),
    "no packing": (("routes", "zirconia_crown", -1, "station"), "quality", "routes.zirconia_crown"),
    "packing in between": (("routes", "zirconia_crown", 1, "station"), "packing", "routes.zirconia_crown"),
    "lot of what": (("lots", 0, "what"), "gold", "lots[0].what"),
    "lot's expiry": (("lots", 0, "expires_days"), 0, "lots[0].expires_days"),
}


@pytest.mark.parametrize(("path", "value", "place"), SPOILT.values(), ids=SPOILT.keys())
def test_spoilt_data_is_refused_with_its_place_and_nothing_is_written(
    path: tuple[str | int, ...], value: object, place: str
) -> None:
    shop = data()
    inner: Any = shop
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    refusal = refused(shop)
    assert place in refusal.faults[0].message


def test_a_failing_step_must_say_where_the_piece_goes_back_to() -> None:
    shop = data()
    del shop["routes"]["zirconia_crown"][2]["back_to"]
    assert "say to which step" in refused(shop).faults[0].message


def test_the_place_is_also_the_field() -> None:
    shop = data()
    shop["routes"]["zirconia_crown"][2]["station"] = "miling"
    assert refused(shop).faults[0].field == "routes.zirconia_crown.2.station"


@pytest.mark.parametrize("key", ["stations", "shifts", "resources", "routes"])
def test_a_missing_part_is_refused(key: str) -> None:
    shop = data()
    del shop[key]
    assert key in refused(shop).faults[0].message
