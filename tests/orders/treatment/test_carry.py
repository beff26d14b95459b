"""What a new order takes over from an earlier case, and what is said anew."""

from dataclasses import fields, replace
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from labqueue.base.errors import Conflict, Refusal
from orders.facts import ItemFacts, OrderFacts
from orders.intake import open_case
from orders.models import Case, Evaluation
from orders.models.treatment import JUDGED
from orders.treatment.carry import facts_from
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused

pytestmark = pytest.mark.django_db
# A provisional crown of which everything is said that can be said.
CROWN = build.screw_crown(
    material="pmma",
    catalogue="AV-43",
    lot="L77",
    emergence="expand",
    scan_body="SB 4",
    margin_facial=Decimal("-0.8"),
    gingival_facial=Decimal("2.5"),
    tissue_recorded=True,
    shade_guide="House",
    shade_cervical="N3",
    stump="dark",
    occlusion="out",
    texture="light",
)
SAID: dict[str, Any] = {
    "stage": "provisional",
    "guidance": "canine",
    "bruxism": "no",
    "allergy": "yes",
    "allergens": ["nickel"],
    "contact": "extension 4",
    "parts": "practice",
    "approval": "yes",
    "rush": True,
    "note": "Keep it light.",
}


def provisional(**facts: Any) -> Case:
    """That crown, shipped."""
    return build.shipped_case(items=[CROWN], **{**SAID, **facts})


def evaluation(case: Case, **said: Any) -> Evaluation:
    """What was found in the mouth, all as it should be but this."""
    judged = dict.fromkeys(JUDGED, "ok")
    given = {**judged, "facial": "ok", "happy": True, "decision": "final", "by": cast.prescriber(), **said}
    return Evaluation.objects.create(case=case, at=timezone.now(), **given)


def differing(one: OrderFacts | ItemFacts, other: OrderFacts | ItemFacts) -> set[str]:
    """The names of the fields that say something else."""
    return {field.name for field in fields(one) if getattr(one, field.name) != getattr(other, field.name)}


def as_signed(case: Case) -> OrderFacts:
    """The order as it was written, teeth in FDI."""
    given = build.order(items=[replace(CROWN, tooth="11", notation="fdi", retention="screw")], **SAID)
    return OrderFacts(**{**given, "seat_at": case.seat_at})


def test_a_final_has_everything_but_what_is_true_of_one_day_or_of_a_provisional() -> None:
    case = provisional()
    final = facts_from(case, "final")
    said_anew = {"stage", "seat_at", "note", "items", "enclosed", "disinfected_minutes", "rush", "origin", "relation"}
    assert differing(final, as_signed(case)) == said_anew
    assert (final.stage, final.seat_at, final.relation, final.origin) == ("final", None, "final", case.number)
    (piece,) = final.items
    assert differing(piece, as_signed(case).items[0]) == {"material", "occlusion", "emergence"}
    assert (piece.material, piece.emergence, piece.lot, piece.shade) == ("", "copy", "L77", build.SHADE)


def test_it_can_be_ordered_once_its_material_is_chosen() -> None:
    case = provisional()
    carried = facts_from(case, "final")
    pieces = [replace(item, material="zirconia_4y") for item in carried.items]
    values = {field.name: getattr(carried, field.name) for field in fields(carried)}
    final = open_case(cast.assistant(), **{**values, "items": pieces})
    assert final.origin == case
    assert final.shown is not None
    assert final.shown.items.get().lot == "L77"


def test_the_planned_appointment_is_the_finals() -> None:
    case = provisional()
    case.final_seat_at = timezone.now() + timedelta(days=60)
    case.save(update_fields=["final_seat_at"])
    assert facts_from(case, "final").seat_at == case.final_seat_at


def test_what_was_found_in_the_mouth_goes_into_the_note() -> None:
    case = provisional()
    evaluation(case, facial="too_high", facial_mm=50, length="change", changes="Incisal edge 0.3 mm shorter.")
    note = facts_from(case, "final").note
    assert note.startswith("After the trial (")
    assert "Facial margin too high by 0.5 mm. To be changed: length. Incisal edge 0.3 mm shorter." in note
    assert facts_from(case, "final").items[0].shade == build.SHADE


def test_the_last_evaluation_counts_and_a_shade_to_be_changed_is_asked_anew() -> None:
    case = provisional()
    evaluation(case, facial="too_low")
    evaluation(case, shade="change", changes="One step lighter.")
    final = facts_from(case, "final")
    assert "Facial" not in final.note
    assert final.items[0].shade == ""


def test_nothing_to_change_leaves_no_note_and_a_long_one_ends() -> None:
    case = provisional()
    evaluation(case)
    assert facts_from(case, "final").note == ""
    evaluation(case, contact="change", changes="x" * 300, facial="too_low", facial_mm=120)
    assert len(facts_from(case, "final").note) <= 500


@pytest.mark.parametrize("relation", ["remake", "adjustment"])
def test_what_is_made_again_is_as_it_was_signed(relation: str) -> None:
    case = provisional()
    found = facts_from(case, relation)
    anew = {"seat_at", "items", "enclosed", "disinfected_minutes", "rush", "origin", "relation"}
    assert differing(found, as_signed(case)) - {"items", "reasons"} == anew - {"items"}
    assert differing(found.items[0], as_signed(case).items[0]) == set()


def test_the_same_for_another_patient_has_nothing_of_this_one() -> None:
    case = provisional()
    found = facts_from(case, "like")
    (piece,) = found.items
    of_the_patient = (found.patient_ref, found.allergy, list(found.allergens), found.bruxism, found.guidance)
    assert of_the_patient == ("", "", [], "", "")
    assert (found.origin, found.relation, found.note, found.seat_at) == ("", "", "", None)
    assert (piece.tooth, piece.lot, piece.shade, piece.margin_facial, piece.stump) == ("", "", "", None, "")
    assert (piece.material, piece.system, piece.platform) == ("pmma", build.SYSTEM, Decimal("4.3"))
    assert (found.stage, found.impression, found.parts) == ("provisional", "open_tray", "practice")


def test_one_tooth_is_taken_for_another_patient() -> None:
    items = [build.abutment("8"), build.crown("8"), build.screw_crown("9")]
    found = facts_from(build.signed_case(items=items), "like")
    assert [item.kind for item in found.items] == ["abutment", "crown"]


def test_only_what_was_signed_is_taken_over_and_only_in_a_known_way() -> None:
    draft = build.draft_case()
    with refused("origin", "was never signed", kind=Conflict):
        facts_from(draft, "like")
    with refused("relation", "Possible is final, remake, adjustment, like", kind=Refusal):
        facts_from(draft, "copy")
