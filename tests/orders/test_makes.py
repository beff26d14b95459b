"""How a piece is made."""

import pytest

from orders.makes import LAB_DAYS, Make, firing_of, made_here, make_of
from orders.materials import Firing, Kind, Material, firing
from tests import cast


@pytest.mark.parametrize(
    ("kind", "material", "make"),
    [
        ("abutment", "titanium", "metal_abutment"),
        ("abutment", "cobalt_chrome", "metal_abutment"),
        ("abutment", "zirconia_3y", "zirconia_abutment"),
        ("abutment", "pmma", "resin_abutment"),
        ("abutment", "peek", "resin_abutment"),
        ("crown", "pmma", "resin_crown"),
        ("crown", "hybrid_ceramic", "resin_crown"),
        ("crown", "zirconia_5y", "zirconia_crown"),
        ("crown", "lithium_disilicate", "glass_crown"),
        ("crown", "cobalt_chrome", "metal_crown"),
        ("screw_crown", "cobalt_chrome", "metal_screw_crown"),
        ("screw_crown", "composite", "resin_screw_crown"),
        ("screw_crown", "zirconia_4y", "zirconia_screw_crown"),
        ("screw_crown", "lithium_disilicate", "glass_screw_crown"),
    ],
)
def test_make_of_each_piece(kind: str, material: str, make: str) -> None:
    assert make_of(kind, material) == make


def test_a_layered_crown_is_a_make_of_its_own() -> None:
    assert make_of("crown", "zirconia_3y", layered=True) == Make.LAYERED_CROWN


def test_every_make_has_its_days_and_its_route_in_the_demonstration() -> None:
    assert set(LAB_DAYS) == set(Make)
    assert set(cast.laboratory()["routes"]) == set(Make.values)


@pytest.mark.parametrize("make", list(Make))
def test_the_furnace_of_a_make_is_the_one_on_its_route(make: Make) -> None:
    stations = {step["station"] for step in cast.laboratory()["routes"][make]}
    found = [one for one in (Firing.SINTER, Firing.CRYSTALLISE) if one in stations] or [Firing.NONE]
    assert found == [firing_of(make)]


def taken(make: Make) -> set[str]:
    """What is taken from stock on the demonstration's route of a make."""
    return {step["takes"] for step in cast.laboratory()["routes"][make] if "takes" in step}


@pytest.mark.parametrize("material", list(Material))
def test_a_one_piece_crown_of_any_material_gets_its_base_and_its_screw(material: Material) -> None:
    assert taken(make_of(Kind.SCREW_CROWN, material)) == {"material", "titanium_base", "screw"}


@pytest.mark.parametrize("material", list(Material))
def test_an_abutment_of_any_material_gets_its_screw(material: Material) -> None:
    assert "screw" in taken(make_of(Kind.ABUTMENT, material))


@pytest.mark.parametrize("material", list(Material))
def test_a_crown_on_an_abutment_gets_neither(material: Material) -> None:
    assert taken(make_of(Kind.CROWN, material)) == {"material"}


@pytest.mark.parametrize("kind", list(Kind))
@pytest.mark.parametrize("material", list(Material))
def test_what_is_made_here_sees_the_right_furnace(kind: Kind, material: Material) -> None:
    right = firing_of(make_of(kind, material)) == firing(material)
    assert made_here(kind, material) == right


def test_what_is_not_made_here() -> None:
    assert not made_here("abutment", "lithium_disilicate")
    assert not made_here("crown", "lithium_disilicate", layered=True)
    assert not made_here("crown", "cobalt_chrome", layered=True)
    assert made_here("crown", "zirconia_3y", layered=True)
