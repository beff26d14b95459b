"""Rules of the floor: V02, V03 (furnaces) and V19 (discs), at, just within and just beyond each limit."""

import pytest

from orders.findings import Moment
from orders.materials import Firing, Material, firing
from orders.rules import hits
from orders.rules.floor import Nested, Routed

SINTER, CRYSTALLISE = str(Firing.SINTER), str(Firing.CRYSTALLISE)


def rules(material: str, *furnaces: str) -> list[str]:
    """The rules that a route breaks."""
    return [one.rule for one in hits(Moment.FLOOR, Routed(material, frozenset(furnaces)))]


@pytest.mark.parametrize("material", Material.values)
@pytest.mark.parametrize("furnaces", [(), (SINTER,), (CRYSTALLISE,), (SINTER, CRYSTALLISE)])
def test_v02_v03_every_material_in_every_furnace(material: str, furnaces: tuple[str, ...]) -> None:
    needed = firing(material)
    wrong = ["V02"] * len(set(furnaces) - {needed})
    without = ["V03"] if needed != Firing.NONE and needed not in furnaces else []
    assert rules(material, *furnaces) == wrong + without


def test_v02_v03_say_what_is_wrong() -> None:
    (metal,) = hits(Moment.FLOOR, Routed("titanium", frozenset({SINTER})))
    assert str(metal) == "V02: Titanium alloy must not go into a sintering furnace."
    (glass,) = hits(Moment.FLOOR, Routed("lithium_disilicate", frozenset()))
    assert str(glass).startswith("V03: Lithium disilicate needs a step at a crystallisation oven")


@pytest.mark.parametrize(
    ("height", "factor", "thickness", "found"),
    [
        (1000, 1.0, 1250, []),
        (1000, 1.0, 1249, ["thickness"]),
        (1000, 1.25, 1500, []),
        (1000, 1.25, 1499, ["thickness"]),
        (1200, 1.0, 1449, ["thickness"]),
    ],
)
def test_v19_a_disc_that_is_thick_enough(height: int, factor: float, thickness: int, found: list[str]) -> None:
    nested = Nested(height, thickness, factor)
    assert [(one.rule, one.field) for one in hits(Moment.FLOOR, nested)] == [("V19", field) for field in found]


@pytest.mark.parametrize(("disc", "stained", "found"), [("N2", False, 0), ("N3", False, 1), ("N3", True, 0)])
def test_v19_a_disc_of_its_shade(disc: str, stained: bool, found: int) -> None:
    nested = Nested(1000, 2000, shade="N2", disc_shade=disc, stained=stained)
    assert [one.field for one in hits(Moment.FLOOR, nested)] == ["shade"] * found
