"""Orders in words."""

from datetime import UTC, datetime

import pytest
import time_machine

from orders import words
from orders.hold import hold
from orders.models import Case
from tests import cast
from tests.orders import build

pytestmark = pytest.mark.django_db

AT, WINTER = datetime(2031, 3, 5, 15, 0, tzinfo=UTC), "2031-02-03T15:00:00Z"


@pytest.mark.parametrize("state", Case.State.values)
def test_each_state_has_a_word_and_a_tone(state: str) -> None:
    case = build.signed_case()
    case.state = state
    word, tone = words.state(case)
    assert word
    assert "," not in word
    assert tone in ("quiet", "watch", "run", "good")


def test_a_held_case_says_so() -> None:
    assert words.state(hold(cast.manager(), build.accepted_case(), "Which shade?")) == ("On hold", "watch")


@pytest.mark.parametrize(
    ("notation", "number", "name"),
    [("universal", "8", "Universal, FDI 11"), ("fdi", "11", "FDI"), ("palmer", "UR1", "Palmer, FDI 11")],
)
def test_a_tooth_in_the_practices_notation(notation: str, number: str, name: str) -> None:
    practice = cast.practice("southgate", notation=notation)
    expected = {"number": number, "notation": name, "words": "upper right central incisor"}
    assert words.tooth(11, practice) == expected


def test_pieces_by_tooth() -> None:
    items = [build.abutment(), build.screw_crown("30"), build.crown(layered=True, material="zirconia_3y")]
    case = build.draft_case(items=items)
    assert case.draft is not None
    found = words.by_tooth(case.draft.items.all(), case.practice)
    assert [(tooth["number"], pieces) for tooth, pieces in found] == [
        ("8", ["Abutment, titanium alloy", "Layered crown on an abutment, zirconia 3Y"]),
        ("30", ["One-piece crown on a titanium base, zirconia 4Y"]),
    ]


def test_an_instant_is_the_laboratorys() -> None:
    with time_machine.travel(WINTER, tick=False):
        assert words.when(AT, cast.practice()) == "Wed 5 Mar, 10:00"


def test_an_instant_for_a_practice_elsewhere_is_in_both_zones() -> None:
    there = cast.practice("southgate", time_zone="Europe/Lisbon")
    with time_machine.travel(WINTER, tick=False):
        assert words.when(AT, there) == "Wed 5 Mar, 10:00 (Wed 5 Mar, 15:00 at the practice, Europe/Lisbon)"
    assert words.when(None, there) == "—"
