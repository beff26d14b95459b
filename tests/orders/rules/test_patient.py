"""V17: what a patient does not bear, and what nobody asked for."""

from typing import Any

import pytest

from orders.facts import ItemFacts
from orders.signoff import sign
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused
from tests.orders.rules.looks import in_piece, of, passes, refuses, sentence

pytestmark = pytest.mark.django_db

REFUSE = "refuse"
TITANIUM = build.abutment(material="titanium")
SLEEVE = build.abutment(material="zirconia_3y")
ONE_PIECE = build.abutment(material="zirconia_3y", base="one_piece")
COBALT_CHROME = build.crown(material="cobalt_chrome")
ZIRCONIA = build.crown(material="zirconia_4y")


@pytest.mark.parametrize(
    ("allergen", "piece", "field"),
    [
        ("titanium", TITANIUM, "material"),
        ("titanium", SLEEVE, "base"),
        ("titanium", build.screw_crown(), "base"),
        ("titanium", ZIRCONIA, ""),
        ("titanium", COBALT_CHROME, ""),
        ("all_metals", TITANIUM, "material"),
        ("all_metals", SLEEVE, "base"),
        ("all_metals", COBALT_CHROME, "material"),
        ("all_metals", ZIRCONIA, ""),
        ("nickel", COBALT_CHROME, "material"),
        ("cobalt", COBALT_CHROME, "material"),
        ("nickel", TITANIUM, ""),
        ("cobalt", SLEEVE, ""),
        ("acrylic", TITANIUM, ""),
        ("other", COBALT_CHROME, ""),
    ],
)
def test_v17_what_is_not_borne(allergen: str, piece: ItemFacts, field: str) -> None:
    found = in_piece("V17", piece, allergy="yes", allergens=[allergen])
    assert found == ([(REFUSE, f"items.0.{field}")] if field else [])


@pytest.mark.parametrize("allergen", ["titanium", "all_metals"])
def test_v17_the_screw_of_a_piece_without_titanium_is_of_titanium(allergen: str) -> None:
    facts: dict[str, Any] = {"items": [ONE_PIECE, ZIRCONIA], "allergy": "yes", "allergens": [allergen]}
    assert of("V17", **facts) == [("warn", "items.0.material")]
    assert "the screw of this piece is of titanium" in sentence("V17", **facts)
    case, doctor = passes(**facts), cast.prescriber()
    with refused("items.0.material", "Give a short reason."):
        sign(doctor, case)


def test_v17_the_screw_is_borne() -> None:
    assert in_piece("V17", ONE_PIECE, allergy="yes", allergens=["nickel"]) == []


@pytest.mark.parametrize("piece", [TITANIUM, COBALT_CHROME, build.screw_crown()])
def test_v17_refuses_with_what_would_do(piece: ItemFacts) -> None:
    field = "items.0.base" if piece.kind == "screw_crown" else "items.0.material"
    refuses("V17", field, "Order a piece without it", piece, allergy="yes", allergens=["all_metals"])


def test_v17_nobody_asked() -> None:
    assert of("V17", allergy="unknown") == [("warn", "allergy")]
    assert sentence("V17", allergy="unknown").endswith("Ask, and say what was answered.")
    assert passes(allergy="unknown").state == "draft"


@pytest.mark.parametrize("facts", [{"allergy": "none"}, {"allergy": "yes", "allergens": ["acrylic"]}])
def test_v17_asked_and_borne(facts: dict[str, Any]) -> None:
    assert of("V17", **facts) == []


@pytest.mark.parametrize("allergy", ["none", "unknown"])
def test_allergens_without_an_allergy(allergy: str) -> None:
    assert of("allergens", allergy=allergy, allergens=["nickel"]) == [(REFUSE, "allergens")]
    assert of("allergens", allergy="yes", allergens=["nickel"]) == of("allergens", allergy=allergy) == []
