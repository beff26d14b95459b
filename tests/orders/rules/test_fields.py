"""What the absence of each field does, row by row: nothing where it is said, exactly its effect where it is not."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from orders.facts import ItemFacts
from orders.fields import FIELDS, Effect, Of
from orders.models import Attachment, Case
from orders.rules.absent import READ
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused
from tests.orders.rules.looks import findings, loud

pytestmark = pytest.mark.django_db

MM = Decimal("1.5")
SIDES = ("facial", "lingual", "mesial", "distal")
ON_IMPLANT: dict[str, Any] = {
    **build.IMPLANT,
    "catalogue": "C-43",
    "lot": "L 77",
    "emergence": "follow",
    "scan_body": "SB-1",
    "scan_platform": Decimal("4.3"),
}
ABUTMENT: dict[str, Any] = {
    **ON_IMPLANT,
    **{f"gingival_{side}": MM for side in SIDES},
    **{f"margin_{side}": Decimal("-0.5") for side in SIDES},
}
CROWN: dict[str, Any] = {
    "shade_guide": "Guide N",
    "shade_cervical": "N3",
    "shade_incisal": "N1",
    "stump": "tooth",
    "stump_shade": "N2",
    "occlusion": "light",
    "texture": "light",
    "lustre": "silk",
    "characterisation": "None",
}
SCAN: dict[str, Any] = {"impression": "scan", "scanned_on": date(2026, 11, 20), "analog": "", "enclosed": []}
FILES = ("implant_scan", "photo_retracted", "photo_shade", "photo_smile")


def pieces(number: int = 0, **changed: Any) -> list[ItemFacts]:
    """A provisional abutment and its crown that say everything, one of them changed."""
    whole = [{**ABUTMENT, "material": "pmma"}, {**CROWN, "material": "pmma"}]
    whole[number] |= changed
    return [build.abutment(**whole[0]), build.crown(**whole[1])]


def whole(number: int = 0, piece: dict[str, Any] | None = None, **facts: Any) -> dict[str, Any]:
    """A provisional order that says everything."""
    said = {"stage": "provisional", "guidance": "none", "bruxism": "no", "contact": "Desk 2", "approval": "no"}
    return {**said, "parts": "laboratory", "items": pieces(number, **(piece or {})), **facts}


def missed(**facts: Any) -> list[tuple[str, str, str]]:
    """Rule, severity and field of what is missed, without what is usual and without the files."""
    return [
        (one.rule, str(one.severity), one.field)
        for one in findings(**facts)
        if one.severity != "default" and one.field != "files"
    ]


def test_an_order_that_says_everything_misses_nothing() -> None:
    assert missed(**whole()) == []
    assert missed(**whole(**SCAN)) == []


OF_THE_ORDER: list[tuple[str, str, dict[str, Any]]] = [
    ("impression", "hold", {"impression": ""}),
    ("analog", "hold", {"analog": ""}),
    ("scanned_on", "ask", {**SCAN, "scanned_on": None}),
    ("opposing", "hold", {"opposing": ""}),
    ("bite", "hold", {"bite": ""}),
    ("guidance", "ask", {"guidance": ""}),
    ("bruxism", "ask", {"bruxism": ""}),
    ("seat_at", "ask", {"seat_at": None}),
    ("allergy", "refuse", {"allergy": ""}),
    ("allergens", "refuse", {"allergy": "yes"}),
    ("allergy_note", "ask", {"allergy": "yes", "allergens": ["other"]}),
    ("disinfected_with", "hold", {"disinfected_with": ""}),
    ("disinfected_minutes", "hold", {"disinfected_minutes": None}),
    ("disinfected_with", "hold", {**SCAN, "enclosed": ["screw"], "disinfected_with": ""}),
]


@pytest.mark.parametrize(("name", "effect", "facts"), OF_THE_ORDER)
def test_a_field_of_the_order_that_says_nothing(name: str, effect: str, facts: dict[str, Any]) -> None:
    assert missed(**whole(**facts)) == [(name, effect, name)]


OF_A_PIECE: list[tuple[int, str, str, dict[str, Any]]] = [
    (0, "system", "hold", {"system": ""}),
    (0, "catalogue", "ask", {"catalogue": ""}),
    (0, "lot", "ask", {"lot": ""}),
    (0, "connection", "hold", {"connection": ""}),
    (0, "platform", "hold", {"platform": None}),
    (0, "level", "hold", {"level": ""}),
    *[(0, f"margin_{side}", "ask", {f"margin_{side}": None}) for side in SIDES],
    *[(0, f"gingival_{side}", "ask", {f"gingival_{side}": None}) for side in SIDES],
    (0, "emergence", "ask", {"emergence": ""}),
    (1, "shade", "hold", {"shade": ""}),
    *[
        (1, name, "ask", {name: ""})
        for name in ("shade_guide", "shade_cervical", "shade_incisal", "stump", "stump_shade", "occlusion")
    ],
    (1, "texture", "ask", {"texture": "", "lustre": "", "characterisation": ""}),
]


@pytest.mark.parametrize(("number", "name", "effect", "piece"), OF_A_PIECE)
def test_a_field_of_a_piece_that_says_nothing(number: int, name: str, effect: str, piece: dict[str, Any]) -> None:
    assert missed(**whole(number, piece)) == [(name, effect, f"items.{number}.{name}")]


@pytest.mark.parametrize(("name", "nothing"), [("scan_body", ""), ("scan_platform", None)])
def test_a_scan_names_its_scan_body(name: str, nothing: Any) -> None:
    assert missed(**whole(0, {name: nothing}, **SCAN)) == [(name, "hold", f"items.0.{name}")]
    assert missed(**whole(0, {name: nothing})) == []


def test_an_angulated_channel_has_an_angle() -> None:
    def facts(**more: Any) -> dict[str, Any]:
        piece = build.screw_crown(**{**ON_IMPLANT, **CROWN, "material": "pmma", **more})
        return whole(items=[piece])

    assert missed(**facts(retention="angled_screw")) == [("angle", "hold", "items.0.angle")]
    assert missed(**facts(retention="angled_screw", angle=0)) == []
    assert missed(**facts(retention="screw")) == []


@pytest.mark.parametrize(
    "facts",
    [
        {"items": [build.crown(**{**CROWN, "material": "pmma"})]},
        {**SCAN, "disinfected_with": "", "disinfected_minutes": None},
        {"items": [build.crown("3", **{**CROWN, "material": "pmma", "texture": "", "lustre": "", "shade": "N2"})]},
        {"items": pieces(0, tissue_recorded=True, **{f"gingival_{side}": None for side in SIDES})},
        {"items": pieces(1, texture="", lustre="")},
        {"items": pieces()[:1], "opposing": "", "bite": "", "guidance": "", "bruxism": ""},
    ],
)
def test_what_the_order_does_not_need_is_not_asked(facts: dict[str, Any]) -> None:
    assert missed(**whole(**facts)) == []


def test_what_is_missing_of_several_is_named() -> None:
    def words(**piece: Any) -> str:
        (found,) = [one for one in findings(**whole(0, piece)) if one.rule.startswith("margin")]
        return str(found)

    assert words(margin_mesial=None, margin_distal=None) == (
        "Give the depth of the margin on each side. Missing: margin mesial, margin distal."
    )
    assert words(**{f"margin_{side}": None for side in SIDES}) == "Give the depth of the margin on each side."


def test_a_final_without_its_provisional() -> None:
    assert ("origin", "ask", "origin") in missed()
    provisional = build.shipped_case(stage="provisional", items=[build.screw_crown(material="pmma")])
    said = {"origin": provisional.number, "relation": "final", "items": [build.screw_crown()]}
    assert "origin" not in [name for name, _, _ in missed(patient_ref=provisional.patient_ref, **said)]


def attach(case: Case, *roles: str, state: str = "ready", withdrawn: bool = False) -> None:
    """Files of these roles."""
    for number, role in enumerate(roles, start=case.attachments.count() + 1):
        facts = {"file": f"f{number}", "sha256": "0" * 64, "size": 1, "by": cast.assistant(), "at": timezone.now()}
        gone = timezone.now() if withdrawn else None
        facts |= {"type": "stl", "number": number, "state": state, "withdrawn_at": gone}
        Attachment.objects.create(case=case, role=role, **facts)


def files_missed(case: Case | None, **facts: Any) -> list[tuple[str, str]]:
    """Rule and severity of the files that are missed."""
    return [(one.rule, str(one.severity)) for one in findings(case, **facts) if one.field == "files"]


def test_a_scan_without_its_files() -> None:
    facts = whole(**SCAN)
    case = build.draft_case(**facts)
    assert files_missed(None, **facts) == [("implant_scan", "hold"), ("photo_retracted", "ask")]
    attach(case, "implant_scan", state="checking")
    attach(case, "implant_scan", withdrawn=True)
    assert files_missed(case, **facts) == [("implant_scan", "hold"), ("photo_retracted", "ask")]
    attach(case, *FILES[:2])
    assert files_missed(case, **facts) == [("photo_shade", "ask")]
    attach(case, *FILES[2:])
    assert files_missed(case, **facts) == []


def test_who_orders_no_crown_sends_no_photos() -> None:
    assert files_missed(None, **whole(items=pieces()[:1])) == []


def test_a_final_shows_its_provisional_in_place() -> None:
    missed_of = {
        relation: [rule for rule, _ in files_missed(None, relation=relation)] for relation in ("", "final", "remake")
    }
    first = ["photo_retracted"]
    assert missed_of == {"": first, "final": [*first, "photo_provisional"], "remake": first}
    case = build.draft_case()
    attach(case, "photo_provisional")
    assert [rule for rule, _ in files_missed(case, relation="final")] == first


@pytest.mark.parametrize(
    ("name", "said", "words"),
    [
        ("engaging", {"engaging": False}, "A single piece engages."),
        ("retention", {"retention": "screw"}, "What is usual for the piece."),
        ("contacts", {"contacts": "tight"}, "Normal contacts."),
    ],
)
def test_what_is_usual_of_a_piece_is_filled_in_and_said(name: str, said: dict[str, Any], words: str) -> None:
    silent, spoken = (findings(items=[build.screw_crown(**facts)]) for facts in ({}, said))
    assert [str(one) for one in silent if one.rule == name and one.severity == "default"] == [words]
    assert [one for one in spoken if one.rule == name and one.severity == "default"] == []


@pytest.mark.parametrize("name", ["approval", "parts"])
def test_what_was_agreed_on_is_filled_in_and_said(name: str) -> None:
    silent, spoken = findings(), findings(approval="yes", parts="practice")
    assert [one.severity for one in silent if one.rule == name] == ["default"]
    assert [one for one in spoken if one.rule == name] == []


def test_every_field_that_does_something_was_asked_above() -> None:
    asked = {name for name, _, _ in OF_THE_ORDER} | {name for _, name, _, _ in OF_A_PIECE}
    asked |= {"origin", "angle", "scan_body", "scan_platform", "implant_scan", "photo_retracted", "photo_provisional"}
    silent = (Effect.AUTO, Effect.NONE, Effect.DEFAULT)
    rows = [one for one in FIELDS if one.effect not in silent and one.of != Of.SIGNATURE and not READ & {*one.names}]
    assert [
        row.names for row in rows if not asked & {*row.names} and row.names[0] not in ("patient_ref", "stage")
    ] == []


@pytest.mark.parametrize("facts", [{"allergy": ""}, {"allergy": "yes"}])
def test_an_order_without_its_allergy_is_refused(facts: dict[str, Any]) -> None:
    cast.assistant()
    with refused("allergens" if facts["allergy"] else "allergy", "Say wh"):
        build.draft_case(**facts)


def test_a_held_order_is_taken() -> None:
    nothing: dict[str, Any] = {"impression": "", "opposing": "", "bite": "", "enclosed": []}
    nothing["items"] = [build.crown(shade="")]
    assert loud(findings(**nothing)) == [
        *[("impression", "hold"), ("opposing", "hold"), ("bite", "hold"), ("shade", "hold")],
    ]
    assert build.draft_case(**nothing).state == "draft"
