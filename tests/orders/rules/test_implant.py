"""Rules of the connection: V05, V06, V08 to V11, V13, at, just within and just beyond each limit."""

from decimal import Decimal
from typing import Any

import pytest

from orders.check import look_at
from orders.facts import ItemFacts
from orders.findings import Moment
from orders.models import Case
from orders.rules import hits
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused
from tests.orders.rules.looks import in_piece, of, passes, refuses, sentence

pytestmark = pytest.mark.django_db

WARN, REFUSE, OVERRIDE = "warn", "refuse", "override"
ANGLED = {"retention": "angled_screw"}


def mm(text: str) -> Decimal | None:
    """A length, or none."""
    return Decimal(text) if text else None


def at_release(case: Case) -> list[tuple[str, str, str]]:
    """What is found at release."""
    assert case.draft is not None
    found = hits(Moment.RELEASE, look_at(case, case.draft))
    return [(one.rule, str(one.severity), one.field) for one in found]


@pytest.mark.parametrize(("name", "nothing"), [("system", ""), ("connection", ""), ("platform", None)])
@pytest.mark.parametrize("piece", [build.abutment, build.screw_crown])
def test_v05_is_asked_at_release_not_before(piece: Any, name: str, nothing: Any) -> None:
    case = passes(piece(**{name: nothing}))
    assert at_release(case) == [("V05", REFUSE, f"items.0.{name}")]
    assert of("V05", items=[piece(**{name: nothing})]) == []


def test_v05_a_known_implant_and_a_crown_on_an_abutment() -> None:
    assert at_release(passes(build.abutment(level=""), build.crown())) == []


def test_v06_two_platforms() -> None:
    piece = build.screw_crown(platform=Decimal("4.3"), scan_platform=Decimal("4.31"))
    refuses("V06", "items.0.scan_platform", "the implant one of 4.3 mm. Correct what is wrong.", piece)


@pytest.mark.parametrize(("platform", "scanned"), [("4.3", "4.30"), ("4.3", ""), ("", "4.3")])
def test_v06_one_platform_or_one_that_is_not_known(platform: str, scanned: str) -> None:
    assert in_piece("V06", build.screw_crown(platform=mm(platform), scan_platform=mm(scanned))) == []


@pytest.mark.parametrize(
    ("chimney", "found"),
    [("3.49", [OVERRIDE]), ("3.5", [WARN]), ("3.99", [WARN]), ("4", []), ("0", [OVERRIDE]), ("", [])],
)
def test_v08_chimney_under_a_posterior_zirconia_crown(chimney: str, found: list[str]) -> None:
    piece = build.screw_crown("30", chimney=mm(chimney))
    assert in_piece("V08", piece) == [(severity, "items.0.chimney") for severity in found]


@pytest.mark.parametrize(
    "piece",
    [
        build.screw_crown("8", chimney=Decimal("3")),
        build.screw_crown("30", chimney=Decimal("3"), material="cobalt_chrome"),
        build.abutment("30", chimney=Decimal("3"), material="zirconia_3y"),
    ],
)
def test_v08_other_pieces(piece: ItemFacts) -> None:
    assert in_piece("V08", piece) == []


def test_v08_says_what_is_enough() -> None:
    words = sentence("V08", items=[build.screw_crown("30", chimney=Decimal("3.4"))])
    assert words.startswith("V08: A chimney of 3.4 mm")
    assert words.endswith("Use one from 4 mm on.")


@pytest.mark.parametrize(
    ("depth", "found"),
    [("-1.5", []), ("-1.51", [WARN]), ("-3", [WARN]), ("-3.01", [OVERRIDE]), ("-5", [OVERRIDE]), ("0", []), ("", [])],
)
@pytest.mark.parametrize("side", ["facial", "lingual", "mesial", "distal"])
def test_v09_a_deep_cemented_margin(side: str, depth: str, found: list[str]) -> None:
    margins: dict[str, Any] = {"margin_facial": Decimal("-0.5"), "margin_distal": Decimal("-0.5")}
    margins[f"margin_{side}"] = mm(depth)
    hits = in_piece("V09", build.abutment(**margins), build.crown())
    assert hits == [(severity, f"items.0.margin_{side}") for severity in found]


@pytest.mark.parametrize(("depth", "severity"), [("-2", WARN), ("-4", OVERRIDE)])
def test_v09_an_abutment_whose_crown_is_ordered_later(depth: str, severity: str) -> None:
    deep = build.abutment(margin_facial=Decimal(depth))
    assert in_piece("V09", deep) == in_piece("V09", deep, build.crown("9")) == [(severity, "items.0.margin_facial")]


def test_v09_a_piece_that_is_screwed_has_no_cemented_margin() -> None:
    assert in_piece("V09", build.screw_crown(margin_facial=Decimal("-4"))) == []


def test_v09_says_what_is_possible() -> None:
    words = sentence("V09", items=[build.abutment(margin_facial=Decimal("-2")), build.crown()])
    assert words.startswith("V09: Cement cannot be cleaned off a margin facial 2 mm below the gum. Raise it to 1.5 mm")


@pytest.mark.parametrize("piece", [build.abutment, build.screw_crown])
@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"engaging": False}, "engaging"),
        ({"engaging": False, "splinted": True}, ""),
        ({"splinted": True}, "engaging"),
        ({"connection": "multi_unit"}, "connection"),
        ({"connection": "multi_unit", "engaging": False}, "connection"),
        ({"connection": "multi_unit", "splinted": True}, ""),
        ({}, ""),
    ],
)
def test_v10_what_can_turn(piece: Any, facts: dict[str, Any], field: str) -> None:
    assert in_piece("V10", piece(**facts)) == ([(WARN, f"items.0.{field}")] if field else [])


def test_v10_a_crown_on_an_abutment_turns_with_it() -> None:
    assert in_piece("V10", build.crown(engaging=False)) == []


@pytest.mark.parametrize(
    ("angle", "found"), [(20, []), (21, [WARN]), (25, [WARN]), (26, [REFUSE]), (60, [REFUSE]), (0, []), (None, [])]
)
def test_v11_a_steep_channel(angle: int | None, found: list[str]) -> None:
    hits = in_piece("V11", build.screw_crown(angle=angle, **ANGLED))
    assert hits == [(severity, "items.0.angle") for severity in found]


def test_an_angle_without_an_angulated_channel_is_no_way_round_v11() -> None:
    piece = build.screw_crown(angle=45)
    assert in_piece("angle", piece) == [(REFUSE, "items.0.angle")]
    cast.assistant()
    with refused("items.0.angle", "Choose the angulated screw channel, or leave the angle out."):
        build.draft_case(items=[piece])


@pytest.mark.parametrize("piece", [build.abutment, build.crown])
@pytest.mark.parametrize("facts", [{}, ANGLED])
def test_an_angle_of_a_piece_that_has_no_such_channel(piece: Any, facts: dict[str, Any]) -> None:
    assert in_piece("angle", piece(angle=10, **facts)) == [(REFUSE, "items.0.angle")]


@pytest.mark.parametrize("facts", [{}, {"angle": 0}, {"angle": 10, **ANGLED}])
def test_an_angle_where_it_belongs(facts: dict[str, Any]) -> None:
    assert in_piece("angle", build.screw_crown(**facts)) == []


def test_v11_says_what_is_possible_and_that_its_screw_goes_along() -> None:
    refuses("V11", "items.0.angle", "Give 25° or less.", build.screw_crown(angle=26, **ANGLED))
    steep = sentence("V11", items=[build.screw_crown(angle=22, **ANGLED)])
    assert steep == (
        "V11: A channel at 22° needs its own screw and driver, which go with the piece, and is hard to turn. "
        "Up to 20° is usual."
    )


@pytest.mark.parametrize(
    ("height", "length", "found"),
    [
        ("5.99", "", 1),
        ("6", "", 0),
        ("10", "10", 0),
        ("10.01", "10", 1),
        ("12", "", 0),
        ("", "10", 0),
        ("5.99", "3", 1),
    ],
)
@pytest.mark.parametrize("piece", [build.abutment, build.screw_crown])
def test_v13_low_or_long(piece: Any, height: str, length: str, found: int) -> None:
    hits = in_piece("V13", piece(height=mm(height), implant_length=mm(length)))
    assert hits == [(WARN, "items.0.height")] * found


def test_v13_says_what_is_enough() -> None:
    assert "6 mm are enough" in sentence("V13", items=[build.screw_crown(height=Decimal("5"))])
    long = build.screw_crown(height=Decimal("12"), implant_length=Decimal("10"))
    assert "12 mm above an implant of 10 mm is a long lever" in sentence("V13", items=[long])


def test_a_one_piece_crown_sits_on_a_base() -> None:
    with_base = build.screw_crown(base="one_piece")
    assert in_piece("base", with_base) == [(REFUSE, "items.0.base")]
    assert in_piece("base", build.screw_crown(base="titanium_base")) == []
    assert in_piece("base", build.abutment(base="one_piece")) == []


@pytest.mark.parametrize("material", ["pmma", "zirconia_3y"])
def test_a_provisional_abutment_sits_on_a_base(material: str) -> None:
    cast.assistant()
    with refused("items.0.base", "A provisional abutment is made on a titanium base here. Leave the base out."):
        passes(build.abutment(material=material, base="one_piece"), stage="provisional")


@pytest.mark.parametrize(
    ("material", "facts"),
    [
        ("titanium", {"base": "one_piece"}),
        ("cobalt_chrome", {"base": "one_piece"}),
        ("pmma", {}),
        ("pmma", {"base": "titanium_base"}),
    ],
)
def test_a_provisional_abutment_of_metal_or_on_its_base(material: str, facts: dict[str, Any]) -> None:
    assert in_piece("base", build.abutment(material=material, **facts), stage="provisional") == []
