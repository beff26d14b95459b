"""The cautions: each where it applies, none that is clinical, no torque as a value."""

from typing import Any

import pytest

from orders.materials import Material
from shipping.papers.cautions import CONTENTS, cautions


def words(stage: str = "final", kind: str = "abutment", material: str = "titanium", **more: Any) -> str:
    """The cautions for one piece, as one text."""
    return " ".join(cautions(stage, {kind}, [material], {more.get("retention", "screw")}, more.get("bases", False)))


@pytest.mark.parametrize("kind", ["abutment", "crown", "screw_crown"])
def test_some_cautions_are_always_there(kind: str) -> None:
    said = words(kind=kind)
    for part in ("NOT STERILE", "complete seating", "airway", "Contains", "Custom-made", "keep the part"):
        assert part in said


@pytest.mark.parametrize(
    ("present", "absent"),
    [
        (words("provisional", material="pmma"), words()),
        (words("provisional", material="pmma"), words("final", "crown", "zirconia_4y", retention="cement")),
    ],
)
def test_the_review_after_three_weeks_is_for_provisionals(present: str, absent: str) -> None:
    assert "about 3 weeks" in present
    assert "about 3 weeks" not in absent


@pytest.mark.parametrize(
    ("caution", "present", "absent"),
    [
        ("limited time of use until ______", words("provisional", material="pmma"), words()),
        ("driver that fits this screw", words(retention="angled_screw"), words()),
        ("excess cement", words(kind="crown", retention="cement"), words()),
        ("maker's instructions give", words(), words(kind="crown", retention="cement")),
        ("fine wet diamonds", words(material="zirconia_3y"), words()),
        ("COBALT", words(material="cobalt_chrome"), words()),
        ("titanium, aluminium", words(material="zirconia_4y", bases=True), words(material="zirconia_4y")),
        ("no high heat", words(material="zirconia_4y", bases=True), words(material="zirconia_4y")),
    ],
)
def test_a_caution_stands_where_it_applies(caution: str, present: str, absent: str) -> None:
    assert caution in present
    assert caution not in absent


def test_no_torque_is_ever_given_as_a_value() -> None:
    everything = " ".join(words(material=material.value, retention="angled_screw") for material in Material)
    assert "Ncm" not in everything
    assert "torque that the component maker's instructions give" in everything


def test_every_material_says_what_it_contains() -> None:
    assert set(CONTENTS) == set(Material)


def test_what_the_order_declares_stands_beside_what_is_contained() -> None:
    said = " ".join(cautions("final", {"crown"}, ["zirconia_4y"], {"cement"}, False, "an allergy to nickel"))
    assert "Contains zirconium oxide with 4 mol% yttrium oxide. Declared on the order: an allergy to nickel." in said
    assert "Declared" not in words()
