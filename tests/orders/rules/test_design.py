"""V07: figures of a design at, just within and just beyond what material and blank allow."""

from decimal import Decimal

import pytest

from orders.findings import Moment, Severity
from orders.materials import Material
from orders.rules import hits
from orders.rules.design import BLANK, WALLS, Design

STEP = Decimal("0.01")


def fields(material: str, **figures: Decimal) -> list[str]:
    """The figures that V07 refuses."""
    found = hits(Moment.DESIGN, Design(material, figures))
    assert {(one.rule, one.severity) for one in found} <= {("V07", Severity.REFUSE)}
    return [one.field for one in found]


@pytest.mark.parametrize("material", Material.values)
def test_v07_the_wall_of_each_material(material: str) -> None:
    least = WALLS[Material(material)]
    assert fields(material, wall=least) == fields(material, wall=least + STEP) == []
    assert fields(material, wall=least - STEP) == ["wall"]


def test_v07_no_material_is_thinner_than_a_blank_allows() -> None:
    least = BLANK["wall"][0]
    assert least is not None
    assert min(WALLS.values()) >= least


@pytest.mark.parametrize(
    ("name", "value", "refused"),
    [
        ("angle", "25", False),
        ("angle", "25.01", True),
        ("angle", "0", False),
        ("collar", "0.49", True),
        ("collar", "0.5", False),
        ("collar", "6", False),
        ("collar", "6.01", True),
        ("post", "3.99", True),
        ("post", "4", False),
        ("wall", "NaN", True),
        ("collar", "NaN", True),
        ("angle", "NaN", True),
    ],
)
def test_v07_the_limits_of_a_blank(name: str, value: str, refused: bool) -> None:
    assert fields("titanium", **{name: Decimal(value)}) == [name] * refused


def test_v07_what_was_not_measured_is_not_asked() -> None:
    assert fields("titanium") == []


def test_v07_says_the_limit() -> None:
    (found,) = hits(Moment.DESIGN, Design("zirconia_3y", {"wall": Decimal("0.4")}))
    assert str(found) == "V07: The wall has 0.4 mm; 0.5 mm is the least here. Change the design."
    (steep,) = hits(Moment.DESIGN, Design("titanium", {"angle": Decimal(30)}))
    assert str(steep) == "V07: The angle has 30°; 25° is the most here. Change the design."
