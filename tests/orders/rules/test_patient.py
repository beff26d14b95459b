"""V17: what a patient does not bear, and what nobody asked for."""

from typing import Any

import pytest

from orders.facts import ItemFacts
from tests.orders import build
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
        ("titanium", ONE_PIECE, ""),
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
