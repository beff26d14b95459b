"""The law of a practice's place: every row by itself, and all of them together."""

from datetime import UTC, date, datetime

import pytest

from orders.choices import Pack
from orders.fields import FIELDS
from orders.packs import PACKS, PLACES, RulePack, kept_until, union, unmet
from tests import cast
from tests.orders import build
from tests.orders.test_case_pages import browser, text

NUMBERS = {field.number for field in FIELDS}


def test_every_place_has_its_row() -> None:
    assert set(PACKS) == set(Pack.values)
    assert set(PLACES) == set(Pack.values) - {Pack.UNION}


@pytest.mark.parametrize("place", list(PACKS))
def test_an_order_that_is_taken_says_what_the_law_of_any_place_wants(place: str) -> None:
    assert PACKS[place].on_order <= NUMBERS
    assert unmet(PACKS[place]) == frozenset()


def test_a_law_that_wants_what_an_order_may_lack_is_found() -> None:
    assert unmet(RulePack(frozenset({3, 21, 26}))) == {21, 26}


@pytest.mark.parametrize(
    ("place", "abutment", "crown"),
    [
        (Pack.UNION, 15, 10),
        (Pack.EU, 15, 10),
        (Pack.NORTHERN_IRELAND, 15, 10),
        (Pack.GREAT_BRITAIN, 15, 5),
        (Pack.US_WEST_VIRGINIA, 2, 2),
        (Pack.US_CONNECTICUT, 1, 1),
        (Pack.US_FLORIDA, 4, 4),
        (Pack.QUEBEC, 5, 5),
        (Pack.US_MARYLAND, 15, 10),
        (Pack.ONTARIO, 15, 10),
    ],
)
def test_how_long_papers_are_kept(place: str, abutment: int, crown: int) -> None:
    pack = PACKS[place]
    assert (pack.years(["abutment"]), pack.years(["crown"])) == (abutment, crown)
    assert pack.years(["crown", "abutment"]) == pack.years(["screw_crown"]) == abutment


def test_what_goes_back_with_the_device() -> None:
    assert any("custom-made device" in line for line in PACKS[Pack.EU].gives_back)
    assert any("Where it was made" in line for line in PACKS[Pack.US_TEXAS].gives_back)
    assert PACKS[Pack.US_CONNECTICUT].gives_back == ()


def test_the_union_asks_for_what_any_place_asks_for_and_each_once() -> None:
    everything = PACKS[Pack.UNION]
    for place in PLACES.values():
        assert place.on_order <= everything.on_order
        assert set(place.gives_back) <= set(everything.gives_back)
        assert all(place.keeps[kind] <= everything.keeps[kind] for kind in place.keeps)
    assert len(set(everything.gives_back)) == len(everything.gives_back)
    assert union([]).years(["abutment"]) == 15


def test_the_last_day_of_a_leap_year() -> None:
    left = datetime(2028, 2, 29, 18, tzinfo=UTC)
    assert kept_until(PACKS[Pack.EU], ["crown"], left) == date(2038, 3, 1)
    assert kept_until(PACKS[Pack.US_FLORIDA], ["crown"], left) == date(2032, 2, 29)


@pytest.mark.django_db
def test_the_case_says_what_goes_back_and_until_when_it_is_kept() -> None:
    practice = cast.practice()
    practice.pack = Pack.US_FLORIDA
    practice.save(update_fields=["pack"])
    case = build.shipped_case()
    page = text(browser(cast.assistant()).get(f"/cases/{case.number}"))
    assert "United States, Florida" in page
    assert "The materials of each piece, with their certificates." in page
    assert f"Kept until {kept_until(PACKS[Pack.US_FLORIDA], ['abutment'], case.shipped_at):%a %-d %b %Y}" in page  # type: ignore[arg-type]


@pytest.mark.django_db
def test_a_draft_has_nothing_to_keep() -> None:
    case = build.draft_case()
    page = text(browser(cast.assistant()).get(f"/cases/{case.number}"))
    assert "Goes back with the device" in page
    assert "Kept until" not in page
