"""Putting lots into use."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import DatabaseError, transaction
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Forbidden, Refusal
from labqueue.production.lots import label, needed, use_lot
from labqueue.production.models import Lot, LotInUse, LotUse, Station
from tests import cast
from tests.orders import build as orders
from tests.production.build import released_case, scan_through, shop

pytestmark = pytest.mark.django_db
Given = dict[str, Any]


@pytest.fixture
def mill() -> Station:
    """The dry mill of a shop in which no lot is in use."""
    shop(lots=False)
    return Station.objects.get(code="milling")


def refused(mill: Station, what: str, number: str, **facts: Any) -> Refusal:
    """The refusal of a lot, after which nothing may have been written."""
    before = (list(Lot.objects.values()), list(LotInUse.objects.values()))
    with pytest.raises(Refusal) as caught:
        use_lot(facts.pop("actor", None) or cast.technician(), mill, what, number, **facts)
    assert (list(Lot.objects.values()), list(LotInUse.objects.values())) == before
    return caught.value


def test_a_station_needs_what_the_active_routes_take_there(mill: Station) -> None:
    assert needed(mill) == [
        *("pmma", "composite", "peek", "zirconia_3y", "zirconia_4y", "zirconia_5y", "hybrid_ceramic", "feldspar")
    ]
    assert needed(Station.objects.get(code="wet-milling")) == ["titanium", "cobalt_chrome", "lithium_disilicate"]
    assert needed(Station.objects.get(code="bonding")) == ["titanium_base"]
    assert needed(Station.objects.get(code="finishing")) == []


def test_a_lot_on_file_is_put_into_use_by_its_number(mill: Station) -> None:
    in_use = use_lot(cast.technician(), mill, "pmma", " HT-20418 ")
    assert (in_use.lot.product, in_use.station, in_use.by) == ("Halden Temp Disc", mill, cast.technician())


def test_a_lot_seen_first_is_put_on_file(mill: Station) -> None:
    expires = timezone.localdate() + timedelta(days=90)
    lot = use_lot(cast.technician(), mill, "pmma", "N-1", "New Disc", expires).lot
    assert Lot.objects.get(what="pmma", number="N-1") == lot
    assert (lot.product, lot.expires) == ("New Disc", expires)


def test_the_next_lot_takes_the_place_of_the_one_before(mill: Station) -> None:
    use_lot(cast.technician(), mill, "pmma", "HT-20418")
    use_lot(cast.technician(), mill, "pmma", "N-1", "New Disc")
    assert LotInUse.objects.get(station=mill, what="pmma").lot.number == "N-1"


def test_the_change_stands_in_the_trail_of_the_station(mill: Station) -> None:
    use_lot(cast.technician(), mill, "pmma", "HT-20418")
    use_lot(cast.manager(), mill, "pmma", "N-1", "New Disc")
    event = audit.trail(mill)[-1]
    assert (event.verb, event.actor) == ("lot put into use", cast.manager())
    assert (event.before, event.after) == ({"what": "pmma", "lot": "HT-20418"}, {"what": "pmma", "lot": "N-1"})


def test_the_same_number_of_another_material_is_another_lot(mill: Station) -> None:
    lot = use_lot(cast.technician(), mill, "peek", "HT-20418", "Other Disc").lot
    assert lot != Lot.objects.get(what="pmma", number="HT-20418")


def test_people_of_a_practice_cannot_do_it(mill: Station) -> None:
    assert isinstance(refused(mill, "pmma", "HT-20418", actor=cast.prescriber()), Forbidden)


@pytest.mark.parametrize(
    ("what", "number", "given", "field", "sentence"),
    [
        ("titanium", "CT-55210", {}, "what", "Dry milling does not take that. It takes: PMMA, Milled composite"),
        ("pmma", " ", {}, "number", "Give the lot number"),
        ("pmma", "N" * 21, {"product": "New Disc"}, "number", "at most 20"),
        ("pmma", "N-1", {}, "product", "is new here: give its product name"),
        ("pmma", "N-1", {"product": "N" * 81}, "product", "at most 80"),
        ("pmma", "HT-20418", {"product": "Another Disc"}, "number", "on file as Halden Temp Disc"),
        ("pmma", "HT-20418", {"expires": date(2099, 1, 1)}, "number", "Leave product and expiry empty"),
        ("pmma", "N-1", {"product": "Old Disc", "expires": date(2020, 1, 31)}, "number", "expired on 2020-01-31"),
    ],
)
def test_what_is_refused(mill: Station, what: str, number: str, given: Given, field: str, sentence: str) -> None:
    fault = refused(mill, what, number, **given).faults[0]
    assert fault.field == field
    assert sentence in fault.message


def test_a_station_that_takes_nothing_says_so(mill: Station) -> None:
    finishing = Station.objects.get(code="finishing")
    assert "It takes: nothing from a lot" in refused(finishing, "pmma", "HT-20418").faults[0].message


def test_a_lot_that_has_expired_since_is_refused(mill: Station) -> None:
    Lot.objects.filter(what="pmma").update(expires=timezone.localdate() - timedelta(days=1))
    assert "Put another lot into use" in refused(mill, "pmma", "HT-20418").faults[0].message


def test_materials_and_parts_have_names() -> None:
    assert (label("zirconia_4y"), label("titanium_base")) == ("Zirconia 4Y", "Titanium base")


def test_where_a_lot_went_cannot_be_changed_or_deleted() -> None:
    case = released_case(items=[orders.crown()])
    scan_through(case.work_items.get(), until="sintering")
    other = Lot.objects.get(what="pmma")
    assert LotUse.objects.count() == 1
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        LotUse.objects.update(lot=other)
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        LotUse.objects.all()._raw_delete("default")
