"""What the hash of a prescription covers."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from orders import seal
from orders.models import Case, Item, Prescription
from tests.orders import build

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
    **{name: with_item(put(name, value)) for name, value in OTHER.items()},
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
    assert set(seal.ITEM_FIELDS) == own


def test_a_mark_knows_nothing_of_the_signature() -> None:
    case = build.draft_case()
    assert case.draft is not None
    before = seal.mark(case, case.draft)
    case.draft.licence_number = "D-9"
    assert seal.mark(case, case.draft) == before


def test_the_hash_does_not_depend_on_the_order_of_keys() -> None:
    assert seal.sha256({"a": 1, "b": [True, None]}) == seal.sha256({"b": [True, None], "a": 1})
