"""What is frozen for the slip when a box is closed: the facts of the case as it was signed and made."""

import pytest

from labqueue.base import codes
from orders.models import Practice
from shipping.slip_facts import slip_facts
from tests.orders.build import abutment, crown, screw_crown
from tests.shipping.build import packed, paper_of

pytestmark = pytest.mark.django_db


def test_the_facts_are_those_of_the_case() -> None:
    delivery = packed(items=[piece(tooth) for tooth in ("8", "14", "30") for piece in (abutment, crown)])
    facts = slip_facts(delivery)
    assert paper_of(delivery).facts == facts
    assert facts["code"] == codes.with_check(f"{delivery.case.number}00")
    assert (facts["patient"], facts["stage"], facts["licence"]) == ("K-2041", "Final", "D-1001")
    assert facts["practice"]["name"] == "Northgate Dental"
    assert facts["prescriber"] == "Doctor-northgate Test"
    assert len(facts["pieces"]) == 6
    first, second = facts["pieces"][:2]
    assert (first["tooth"], first["tooth_other"], first["words"]) == (
        "8 Universal",
        "11 FDI",
        "upper right central incisor",
    )
    assert (first["piece"], first["material"], first["shade"]) == ("Abutment, screw-retained", "Titanium alloy", "")
    assert first["implant"] == "Averin C, conical with index, 4.3 mm"
    assert first["lots"] == [{"number": "CT-55210", "product": "Corvane Ti Blank"}]
    assert (second["piece"], second["shade"]) == ("Crown on an abutment, cement-retained", "N2")
    assert second["implant"] == "on the abutment"
    assert facts["parts"] == ["3 x Clinical screw: Corvane Clinical Screw, lot CS-90415"]


def test_a_practice_that_writes_fdi_gets_universal_as_the_second_notation() -> None:
    delivery = packed(items=[abutment("8")])
    Practice.objects.update(notation="fdi")
    delivery.refresh_from_db()
    (piece,) = slip_facts(delivery)["pieces"]
    assert (piece["tooth"], piece["tooth_other"]) == ("11 FDI", "8 Universal")


def test_a_provisional_crown_on_a_base_says_so() -> None:
    item = screw_crown("8", material="pmma")
    facts = slip_facts(packed(stage="provisional", items=[item]))
    assert facts["stage"] == "Provisional"
    assert [lot["product"] for lot in facts["pieces"][0]["lots"]] == ["Halden Temp Disc", "Corvane Base"]
    assert any("PROVISIONAL" in line and "about 3 weeks" in line for line in facts["cautions"])
    assert any("no high heat" in line for line in facts["cautions"])


def test_what_was_declared_of_allergies_stands_on_the_slip() -> None:
    facts = slip_facts(packed(allergy="yes", allergens=["nickel", "acrylic"], allergy_note="Rash from a ring"))
    assert any("an allergy to nickel, acrylic, Rash from a ring." in line for line in facts["cautions"])
    assert any("Declared on the order: no allergy known." in line for line in slip_facts(packed())["cautions"])
