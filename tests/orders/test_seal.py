"""What the hash of a prescription covers."""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from orders import seal
from orders.models import Case, Item, Practice, Prescription, Reason
from orders.models.columns import LENGTHS_MM
from tests import cast
from tests.orders import build, signed_before

pytestmark = pytest.mark.django_db


def signed() -> tuple[Case, Prescription]:
    """A signed case with its version."""
    case = build.signed_case(note="Light contacts.", items=[build.screw_crown(platform=Decimal("4.3"))])
    assert case.current is not None
    return case, case.current


def with_item(change: Callable[[Item], None]) -> Callable[[Case, Prescription], None]:
    """Change the one piece in memory."""

    def do(case: Case, prescription: Prescription) -> None:
        item = prescription.items.get()
        change(item)
        prescription._prefetched_objects_cache = {"items": [item]}  # type: ignore[attr-defined]

    return do


def with_version(change: Callable[[Prescription], None]) -> Callable[[Case, Prescription], None]:
    """Change the version in memory."""
    return lambda _, version: change(version)


def put(name: str, value: object) -> Callable[[object], None]:
    """Set one attribute."""
    return lambda row: setattr(row, name, value)


OTHER: dict[str, object] = {
    "line": 2,
    "kind": "crown",
    "tooth": 21,
    "material": "pmma",
    "layered": True,
    "shade": "N3",
    "retention": "cement",
    "system": "Merrow T",
    "connection": "morse",
    "platform": 350,
}
# Of what orders could not say before: a value for each column that is none of its defaults.
MORE: dict[str, object] = {
    **dict.fromkeys(("catalogue", "lot", "scan_body", "shade_guide", "shade_cervical", "shade_incisal"), "A-1"),
    **dict.fromkeys(("stump_shade", "characterisation"), "A-1"),
    **{name: 250 for name in LENGTHS_MM if name != "platform"},
    "level": "tissue",
    "engaging": False,
    "splinted": True,
    "angle": 15,
    "base": "one_piece",
    "emergence": "copy",
    "stump": "dark",
    "occlusion": "out",
    "contacts": "open",
    "texture": "heavy",
    "lustre": "gloss",
    "tissue_recorded": True,
}
OF_ORDER: dict[str, object] = {
    "impression": "scan",
    "scanned_on": date(2026, 11, 3),
    "analog": "enclosed",
    "opposing": "model",
    "bite": "scan",
    "enclosed": ["screw"],
    "disinfected_with": "Alcohol",
    "disinfected_minutes": 5,
    "guidance": "canine",
    "bruxism": "yes",
    "allergy": "yes",
    "allergens": ["nickel"],
    "allergy_note": "Skin",
    "approval": "yes",
    "contact": "Desk",
    "parts": "practice",
    "rush": True,
    "delivery": "collection",
}
CHANGES: dict[str, Callable[[Case, Prescription], None]] = {
    "number": lambda case, _: setattr(case, "number", "9999999"),
    "patient": lambda case, _: setattr(case, "patient_ref", "B-1"),
    "stage": lambda case, _: setattr(case, "stage", "provisional"),
    "version": lambda _, version: setattr(version, "version", 2),
    "seat": lambda _, version: setattr(version, "seat_at", build.seat_in(3)),
    "no seat": lambda _, version: setattr(version, "seat_at", None),
    "note": lambda _, version: setattr(version, "note", ""),
    "signer": lambda _, version: setattr(version, "signed_by_id", 0),
    "licence": lambda _, version: setattr(version, "licence_number", "D-2"),
    "signed at": lambda _, version: setattr(version, "signed_at", timezone.now() + timedelta(seconds=1)),
    **{name: with_item(put(name, value)) for name, value in (OTHER | MORE).items()},
    **{name: with_version(put(name, value)) for name, value in OF_ORDER.items()},
    "relation": lambda case, _: setattr(case, "relation", "remake"),
    "cause": lambda case, _: setattr(case, "cause", "fit"),
    "cause note": lambda case, _: setattr(case, "cause_note", "Open margin."),
    "origin": lambda case, _: setattr(case, "origin", Case(number="2600001")),
}


def test_the_hash_can_be_computed_again_from_the_database() -> None:
    case, version = signed()
    fresh = Case.objects.get(pk=case.pk)
    assert fresh.current is not None
    assert seal.seal(fresh, fresh.current) == version.hash
    assert len(version.hash) == 64


@pytest.mark.parametrize("what", CHANGES)
def test_every_fact_is_covered(what: str) -> None:
    case, version = signed()
    kept = version.hash
    CHANGES[what](case, version)
    assert seal.seal(case, version) != kept


def test_every_field_of_a_piece_is_in_the_seal() -> None:
    own = {field.name for field in Item._meta.fields} - {"id", "prescription", "frozen"}
    assert set(seal.ITEM_FIELDS) == own == OTHER.keys() | MORE.keys() | {"stage"}


def test_every_field_of_a_version_is_in_the_seal() -> None:
    own = {field.name for field in Prescription._meta.fields} - {"id", "case", "version", "hash", "seat_at", "note"}
    assert set(seal.ORDER_FIELDS) == own - {"signed_by", "licence_number", "signed_at"} == OF_ORDER.keys()


def before() -> tuple[Case, Prescription]:
    """A version as it was signed before orders could say more, with its pieces, in memory."""
    case = Case(**signed_before.CASE, practice=Practice(code=signed_before.PRACTICE_CODE))
    version = Prescription(pk=9, case=case, **signed_before.VERSION)
    items = [Item(prescription=version, **facts) for facts in signed_before.ITEMS]
    version._prefetched_objects_cache = {"items": items, "reasons": Reason.objects.none()}  # type: ignore[attr-defined]
    return case, version


def test_what_was_signed_before_has_the_hash_of_then() -> None:
    case, version = before()
    assert (seal.mark(case, version), seal.seal(case, version)) == (signed_before.MARK, signed_before.SEAL)


def test_the_reasons_are_in_the_seal() -> None:
    case = build.draft_case()
    draft = case.draft
    assert draft is not None
    marks = [seal.mark(case, draft)]
    facts = {"rule": "V12", "by": cast.assistant(), "at": timezone.now()}
    reason = Reason.objects.create(prescription=draft, text="As discussed.", **facts)
    marks.append(seal.mark(case, draft))
    reason.text = "As written."
    reason.save()
    marks.append(seal.mark(case, draft))
    assert len(set(marks)) == 3


def test_labels_can_be_corrected_without_another_piece() -> None:
    assert set(seal.WHERE_SAID) - set(seal.SHAPING) == {"catalogue", "lot", "scan_body", "scan_platform"}


def test_a_mark_knows_nothing_of_the_signature() -> None:
    case = build.draft_case()
    assert case.draft is not None
    before = seal.mark(case, case.draft)
    case.draft.licence_number = "D-9"
    assert seal.mark(case, case.draft) == before


def test_the_hash_does_not_depend_on_the_order_of_keys() -> None:
    assert seal.sha256({"a": 1, "b": [True, None]}) == seal.sha256({"b": [True, None], "a": 1})
