"""Orders that say all that they can: kept as they were said, and refused where a word or a number cannot be meant."""

from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from orders.facts import order_facts
from orders.intake import edit_draft
from orders.models import Case, Item
from orders.models.columns import LENGTHS_MM
from orders.signoff import amend, discard, sign
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused

pytestmark = pytest.mark.django_db

PIECE: dict[str, Any] = {
    **{name: Decimal("3.25") for name in LENGTHS_MM if not name.startswith(("margin", "platform"))},
    "height": Decimal("9.5"),
    "implant_length": Decimal("10"),
    "margin_facial": Decimal("-0.75"),
    "margin_lingual": Decimal("0"),
    "margin_mesial": Decimal("-5"),
    "catalogue": "C-43",
    "lot": "L 77",
    "platform": Decimal("3.25"),
    "level": "tissue",
    "engaging": False,
    "splinted": True,
    "angle": 15,
    "retention": "angled_screw",
    "tissue_recorded": True,
    "emergence": "copy",
    "scan_body": "SB-1",
    "shade_guide": "Guide N",
    "shade_cervical": "N3",
    "shade_incisal": "N1",
    "stump": "dark",
    "stump_shade": "N4",
    "occlusion": "light",
    "contacts": "tight",
    "texture": "medium",
    "lustre": "silk",
    "characterisation": "Two lines",
}
ORDER: dict[str, Any] = {
    "impression": "scan",
    "scanned_on": timezone.localdate(),
    "analog": "enclosed",
    "opposing": "scan",
    "bite": "scan",
    "enclosed": ["analog", "screw"],
    "disinfected_with": "Peracetic acid",
    "disinfected_minutes": 15,
    "guidance": "canine",
    "bruxism": "unknown",
    "allergy": "yes",
    "allergens": ["nickel", "cobalt"],
    "allergy_note": "Rash",
    "approval": "yes",
    "contact": "Desk 2",
    "parts": "practice",
    "rush": True,
    "delivery": "collection",
}


def whole(**facts: Any) -> Case:
    """The draft of an order that says everything."""
    return build.draft_case(**{**ORDER, "items": [build.screw_crown(**PIECE)], **facts})


def one_piece(case: Case) -> Item:
    """The one piece of the draft."""
    assert case.draft is not None
    return case.draft.items.get()


def test_everything_is_kept_as_it_was_said() -> None:
    case = whole()
    assert case.draft is not None
    facts = order_facts(case, case.draft)
    assert {name: getattr(facts, name) for name in ORDER} == ORDER
    assert {name: getattr(facts.items[0], name) for name in PIECE} == PIECE
    assert one_piece(case).margin_facial == -75


def test_a_change_begins_with_everything() -> None:
    case = whole()
    sign(cast.prescriber(), case)
    assert case.current is not None
    draft = amend(cast.assistant(), case)
    assert order_facts(case, draft) == order_facts(case, case.current)


def test_what_is_left_out_is_what_the_practice_agreed_on() -> None:
    practice = cast.practice()
    practice.wants_approval, practice.parts = True, "practice"
    practice.save()
    case = build.draft_case()
    assert case.draft is not None
    assert (case.draft.approval, case.draft.parts) == ("yes", "practice")


def test_what_is_usual_is_not_kept_as_a_base_of_its_own() -> None:
    pieces = [build.abutment(base=base, material="zirconia_3y") for base in ("titanium_base", "one_piece")]
    usual, other = (build.draft_case(items=[piece]) for piece in pieces)
    assert [(one_piece(case).base, one_piece(case).made_on) for case in (usual, other)] == [
        ("", "titanium_base"),
        ("one_piece", "one_piece"),
    ]


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"level": "gum"}, "is no level here. Possible: bone, tissue"),
        ({"contacts": "loose"}, "is no contacts here"),
        ({"base": "gold"}, "is no base here"),
        ({"margin_facial": Decimal("-5.01")}, "Give the margin facial from -5 to 3 mm"),
        ({"margin_distal": Decimal("0.005")}, "to the hundredth"),
        ({"gingival_mesial": Decimal("8.01")}, "from 0 to 8 mm"),
        ({"gingival_facial": Decimal("NaN")}, "from 0 to 8 mm"),
        ({"height": Decimal("99999")}, "from 1 to 30 mm"),
        ({"angle": 61}, "from 0 to 60 degrees"),
        ({"angle": -1}, "from 0 to 60 degrees"),
        ({"lot": "x" * 41}, "The lot has more than 40 characters"),
        ({"characterisation": "x" * 121}, "more than 120 characters"),
    ],
)
def test_a_piece_that_cannot_be_meant(facts: dict[str, Any], words: str) -> None:
    (name,) = facts
    with refused(f"items.0.{name}", words):
        build.draft_case(items=[build.screw_crown(**facts)])


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"impression": "clay"}, "is no impression here. Possible: scan"),
        ({"allergy": "perhaps"}, "Possible: none, unknown, yes"),
        ({"allergens": ["nickel", "dust"]}, "is no allergens here"),
        ({"enclosed": [""]}, "Choose the enclosed"),
        ({"disinfected_minutes": 0}, "from 1 to 1440"),
        ({"contact": "x" * 61}, "more than 60 characters"),
        ({"allergy_note": "x" * 61}, "What is said of allergy note"),
        ({"relation": "remake"}, "Say why it is made again"),
    ],
)
def test_an_order_that_cannot_be_meant(facts: dict[str, Any], words: str) -> None:
    (name,) = facts
    with refused("cause" if name == "relation" else name, words):
        build.draft_case(**facts)


def test_an_order_follows_an_earlier_one_of_the_practice() -> None:
    first = build.shipped_case()
    of: dict[str, Any] = {"origin": first.number, "patient_ref": first.patient_ref}
    remake = build.draft_case(relation="remake", cause="fit", cause_note="Open.", **of)
    assert (remake.origin, remake.relation, remake.cause, remake.cause_note) == (first, "remake", "fit", "Open.")
    edit_draft(cast.assistant(), remake, **build.order(note="Again."))
    remake.refresh_from_db()
    assert (remake.origin, remake.relation, remake.cause) == (first, "remake", "fit")


def test_what_it_follows_is_said_whole() -> None:
    first = build.signed_case()
    foreign = build.signed_case(cast.prescriber("southgate"))
    with refused("relation", "as what"):
        build.draft_case(origin=first.number)
    with refused("origin", "Say which earlier case"):
        build.draft_case(relation="final")
    with refused("origin", "You have no case"):
        build.draft_case(origin=foreign.number, relation="final")


def test_a_change_that_is_discarded_leaves_nothing() -> None:
    case = whole()
    sign(cast.prescriber(), case)
    amend(cast.assistant(), case)
    discard(cast.assistant(), case)
    assert case.prescriptions.count() == 1
