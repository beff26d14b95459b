"""Rules of the material: V01, V04, V12, V15, V20, at, just within and just beyond each limit."""

from typing import Any

import pytest

from orders.check import examine
from orders.choices import Base
from orders.facts import ItemFacts, OrderFacts
from orders.materials import Kind, Material, Stage, verdict
from tests import cast
from tests.orders import build
from tests.orders.rules.looks import findings, in_piece, passes, refuses, sentence, wanted

pytestmark = pytest.mark.django_db

WARN, REFUSE = "warn", "refuse"
GLASS = ["lithium_disilicate", "feldspar"]


@pytest.mark.parametrize("material", GLASS)
@pytest.mark.parametrize("stage", Stage.values)
def test_v01_glass_directly_on_the_implant(material: str, stage: str) -> None:
    piece = build.abutment(material=material, base="one_piece")
    assert in_piece("V01", piece, stage=stage) == [(REFUSE, "items.0.base")]
    refuses("V01", "items.0.base", "Order it on a titanium base.", piece, stage=stage)


@pytest.mark.parametrize(
    "piece",
    [
        build.abutment(material="lithium_disilicate", base="titanium_base"),
        build.abutment(material="lithium_disilicate"),
        build.abutment(material="titanium", base="one_piece"),
        build.screw_crown(material="lithium_disilicate"),
        build.crown(material="lithium_disilicate"),
    ],
)
def test_v01_glass_on_a_base_and_other_materials(piece: ItemFacts) -> None:
    assert in_piece("V01", piece) == []


CELLS: list[tuple[str, str, str, str, bool, str]] = [
    (stage, kind, material, tooth, False, base)
    for stage in Stage.values
    for kind in Kind.values
    for material in Material.values
    for tooth in ("11", "14", "36")
    for base in (Base.values if (stage, kind) == ("final", "abutment") else [""])
] + [("final", "crown", material, tooth, True, "") for material in Material.values for tooth in ("11", "14", "36")]


def test_v04_every_cell_of_the_table_is_asked() -> None:
    """One order each for all pieces, materials, bases and regions: refused, weighed or silent as the table says."""
    practice = cast.practice()
    for stage, kind, material, tooth, layered, base in CELLS:
        implant: dict[str, Any] = {} if kind == "crown" else build.IMPLANT
        shade = "" if kind == "abutment" else build.SHADE
        piece = ItemFacts(kind, tooth, "fdi", material, layered=layered, shade=shade, base=base, **implant)
        order = OrderFacts(**build.order(stage=stage, items=[piece]))
        found = [str(one.severity) for one in examine(order, practice).findings if one.rule == "V04"]
        level = verdict(stage, kind, material, int(tooth), layered, base or "titanium_base").level
        assert found == {"ok": [], "warn": [WARN], "reject": [REFUSE]}[level], (stage, kind, material, tooth, base)
    assert len(CELLS) == 2 * 2 * 33 + 33 + 66 + 33


def test_v04_refuses_with_what_is_possible() -> None:
    refuses("V04", "items.0.material", "Possible: Zirconia 3Y, Zirconia 4Y.", build.screw_crown("30", material="pmma"))


def test_v04_weighs_with_what_is_usual() -> None:
    facts: dict[str, Any] = {"items": [build.crown(material="zirconia_3y")]}
    assert sentence("V04", **facts) == (
        "V04: Zirconia 3Y is unusual for a final crown on an abutment here. "
        "Usual: Zirconia 4Y, Zirconia 5Y, Lithium disilicate."
    )
    assert passes(**facts).state == "draft"


def test_a_relabelled_provisional_is_refused() -> None:
    refuses("V04", "items.0.material", "is not possible for a final", build.crown(material="pmma"))


@pytest.mark.parametrize(
    ("tooth", "material", "found"),
    [
        ("36", "zirconia_5y", [WARN]),
        ("36", "lithium_disilicate", [WARN]),
        ("36", "zirconia_4y", []),
        ("35", "zirconia_5y", []),
        ("35", "lithium_disilicate", []),
    ],
)
@pytest.mark.parametrize("piece", [build.crown, build.screw_crown])
def test_v12_brittle_on_a_molar(piece: Any, tooth: str, material: str, found: list[str]) -> None:
    hits = in_piece("V12", piece(tooth, notation="fdi", material=material))
    assert hits == [(severity, "items.0.material") for severity in found]


@pytest.mark.parametrize(
    ("facts", "found"),
    [
        ({"material": "zirconia_5y"}, 1),
        ({"material": "lithium_disilicate"}, 1),
        ({"material": "hybrid_ceramic"}, 1),
        ({"material": "zirconia_4y", "layered": True}, 1),
        ({"material": "zirconia_4y"}, 0),
        ({"material": "zirconia_3y"}, 0),
    ],
)
def test_v12_brittle_where_the_patient_grinds(facts: dict[str, Any], found: int) -> None:
    piece = build.crown(**facts)
    assert len(in_piece("V12", piece, bruxism="yes")) == found
    assert in_piece("V12", piece, bruxism="no") == in_piece("V12", piece, bruxism="unknown") == []


def test_v12_says_both_in_one_sentence() -> None:
    facts = {"items": [build.crown("3", material="zirconia_5y")], "bruxism": "yes"}
    assert sentence("V12", **facts) == (
        "V12: Zirconia 5Y may break on a molar and where the patient grinds. "
        "Zirconia 3Y or 4Y without layers is stronger."
    )


@pytest.mark.parametrize("material", ["zirconia_5y", "lithium_disilicate"])
@pytest.mark.parametrize(
    ("stump", "below", "tooth", "found"),
    [
        ("dark", [], "11", 1),
        ("metal", [], "15", 1),
        ("tooth", [], "11", 0),
        ("", [], "11", 0),
        ("dark", [], "16", 0),
        ("", ["titanium"], "11", 1),
        ("", ["cobalt_chrome"], "11", 1),
        ("", ["zirconia_3y"], "11", 0),
    ],
)
def test_v15_dark_under_a_translucent_crown(
    material: str, stump: str, below: list[str], tooth: str, found: int
) -> None:
    crown = build.crown(tooth, notation="fdi", material=material, stump=stump)
    under = [build.abutment(tooth, notation="fdi", material=one) for one in below]
    assert in_piece("V15", crown, *under) == [(WARN, "items.0.material")] * found


def test_v15_opaque_crowns_and_the_abutments_of_other_teeth() -> None:
    assert in_piece("V15", build.crown(material="zirconia_4y", stump="dark")) == []
    assert in_piece("V15", build.crown(material="zirconia_5y"), build.abutment("9")) == []


@pytest.mark.parametrize(
    ("shade", "words"),
    [
        ("to match", "Give the nearest shade"),
        ("Match 21", "Give the nearest shade"),
        ("as neighbour", "Give the nearest shade"),
        ("same as 21", "Give the nearest shade"),
        ("BL2", "Name a second choice"),
        ("bl 1", "Name a second choice"),
        ("bleached", "Name a second choice"),
    ],
)
def test_v20_a_shade_that_is_none(shade: str, words: str) -> None:
    facts: dict[str, Any] = {"items": [build.crown(shade=shade)]}
    assert sentence("V20", **facts).startswith(f"V20: “{shade}” is ")
    assert words in sentence("V20", **facts)
    assert "V20" in wanted(findings(**facts))
    assert passes(**facts).state == "draft"


@pytest.mark.parametrize("shade", ["N2", "A3.5", "2M2", "Blue-grey 2", ""])
def test_v20_shades_of_a_guide(shade: str) -> None:
    assert in_piece("V20", build.crown(shade=shade)) == []


def test_v20_is_not_asked_of_an_abutment() -> None:
    assert in_piece("V20", build.abutment(shade="to match")) == []
