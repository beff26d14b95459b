"""Which material is possible for which piece."""

import pytest

from orders.choices import Base
from orders.materials import LEVELS, MATRIX, Firing, Kind, Material, Stage, firing, lower_first, verdict
from orders.teeth import PERMANENT

ORDER = [
    *("pmma", "composite", "peek", "titanium", "cobalt_chrome", "zirconia_3y", "zirconia_4y", "zirconia_5y"),
    *("lithium_disilicate", "hybrid_ceramic", "feldspar"),
]
# The validity table of the trade once more, in words: o possible, w to be weighed, x refused. An abutment is in one
# piece or a sleeve on a base.
TABLE = {
    ("provisional", "abutment", 11): "o o o w x w w x x w x",
    ("provisional", "crown", 36): "o o w x x w w w x w x",
    ("provisional", "screw_crown", 11): "o o w x x w w w x w x",
    ("final", "crown", 21): "x w x x w w o o o w w",
    ("final", "crown", 24): "x w x x w o o w o w x",
    ("final", "crown", 26): "x x x x w o o w w w x",
    ("final", "screw_crown", 33): "x x x x w o o w o w x",
    ("final", "screw_crown", 35): "x x x x w o o w w w x",
    ("final", "screw_crown", 37): "x x x x w o o w w w x",
}
ABUTMENTS = {
    ("one_piece", 11): "x x x o w w x x x x x",
    ("one_piece", 36): "x x x o w x x x x x x",
    ("titanium_base", 11): "x x w x w o w x w w x",
    ("titanium_base", 36): "x x w x w o w x x w x",
}
CELLS = [
    (stage, kind, tooth, material, letter)
    for (stage, kind, tooth), row in TABLE.items()
    for material, letter in zip(ORDER, row.split(), strict=True)
]


def test_the_letters_stand_for_the_materials_in_their_order() -> None:
    assert Material.values == ORDER
    assert all(len(row) == len(Material.values) and set(row) <= {*LEVELS, "a"} for row in MATRIX.values())


@pytest.mark.parametrize(("stage", "kind", "tooth", "material", "letter"), CELLS)
def test_each_cell_of_the_table(stage: str, kind: str, tooth: int, material: str, letter: str) -> None:
    assert verdict(stage, kind, material, tooth).level == LEVELS[letter]


@pytest.mark.parametrize(("base", "tooth"), ABUTMENTS)
def test_each_cell_of_final_abutments(base: str, tooth: int) -> None:
    found = [verdict("final", "abutment", material, tooth, base=base).level for material in ORDER]
    assert found == [LEVELS[letter] for letter in ABUTMENTS[base, tooth].split()]


@pytest.mark.parametrize(("tooth", "row"), [(11, "x x x x w o o w o x x"), (16, "x x x x w w w x w x x")])
def test_each_cell_of_layered_crowns(tooth: int, row: str) -> None:
    found = [verdict("final", "crown", material, tooth, layered=True).level for material in ORDER]
    assert found == [LEVELS[letter] for letter in row.split()]


def test_every_piece_at_every_tooth_has_a_row() -> None:
    levels = {
        verdict(stage, kind, material, tooth, base=base).level
        for stage in Stage.values
        for kind in Kind.values
        for base in Base.values
        for material in Material.values
        for tooth in PERMANENT
    }
    assert levels == {"ok", "warn", "reject"}


def test_a_refusal_names_what_is_possible() -> None:
    found = verdict("final", "screw_crown", "pmma", 36)
    assert found.why == (
        "PMMA is not possible for a final one-piece crown on a titanium base. Possible: Zirconia 3Y, Zirconia 4Y."
    )


def test_what_is_made_another_way_says_how() -> None:
    assert verdict("final", "abutment", "titanium", 11).why.endswith("Order it in one piece.")
    one_piece = verdict("final", "abutment", "pmma", 11, base="one_piece").why
    assert one_piece.endswith("Possible: Titanium alloy; Zirconia 3Y on a titanium base.")


def test_a_warning_says_what_is_usual_and_the_usual_says_nothing() -> None:
    assert verdict("final", "crown", "zirconia_5y", 36).why == (
        "Zirconia 5Y is unusual for a final crown on an abutment here. Usual: Zirconia 3Y, Zirconia 4Y."
    )
    assert verdict("final", "crown", "zirconia_4y", 36).why == ""
    assert verdict("final", "crown", "zirconia_4y", 36, layered=True).why == (
        "Zirconia 4Y is unusual for a layered crown on an abutment here."
    )
    assert verdict("final", "crown", "pmma", 11, layered=True).why.startswith(
        "PMMA is not possible for a layered crown"
    )


@pytest.mark.parametrize("material", ["zirconia_3y", "zirconia_4y", "zirconia_5y"])
def test_zirconia_is_sintered(material: str) -> None:
    assert firing(material) == Firing.SINTER


def test_lithium_disilicate_is_crystallised() -> None:
    assert firing("lithium_disilicate") == Firing.CRYSTALLISE


@pytest.mark.parametrize(
    "material", ["titanium", "cobalt_chrome", "pmma", "composite", "peek", "hybrid_ceramic", "feldspar"]
)
def test_everything_else_never_sees_a_furnace(material: str) -> None:
    assert firing(material) == Firing.NONE


def test_labels_inside_a_sentence() -> None:
    assert [lower_first(label) for label in ("Crown", "PMMA", "Zirconia 3Y")] == ["crown", "PMMA", "zirconia 3Y"]
