"""The rules that also live in the database."""

from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.db.models import ProtectedError
from django.utils import timezone

from orders.models import Case, Item, Member, Practice, Prescription
from orders.signoff import amend
from tests import cast
from tests.orders import build

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("facts", "constraint"),
    [
        ({"tooth": 19}, "tooth_is_fdi"),
        ({"material": "pmma"}, "no_provisional_material_on_final"),
        ({"emergence": "bulge"}, "item_emergence_known"),
        ({"contacts": "loose"}, "item_contacts_known"),
        ({"margin_facial": -501}, "item_margin_facial_within"),
        ({"gingival_mesial": 801}, "item_gingival_mesial_within"),
        ({"scan_platform": 199}, "item_scan_platform_within"),
        ({"angle": 61}, "item_angle_within"),
        ({"layered": True}, "only_crowns_are_layered"),
        ({"retention": "cement"}, "retention_fits_kind"),
    ],
)
def test_an_item_that_cannot_be(facts: dict[str, Any], constraint: str) -> None:
    case = build.draft_case(items=[build.screw_crown()])
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        Item.objects.filter(prescription__case=case).update(**facts)


@pytest.mark.parametrize("copied", ["line", "tooth"])
def test_a_line_and_a_piece_of_a_tooth_are_there_once(copied: str) -> None:
    case = build.draft_case(items=[build.screw_crown("8"), build.screw_crown("9")])
    assert case.draft is not None
    first, second = case.draft.items.all()
    with pytest.raises(IntegrityError), transaction.atomic():
        Item.objects.filter(pk=second.pk).update(**{copied: getattr(first, copied)})


@pytest.mark.parametrize("reference", ["Anna", "1980-03-12", "k-2041", "K", ""])
def test_a_patient_reference_is_a_code(reference: str) -> None:
    case = build.draft_case()
    with pytest.raises(IntegrityError, match="patient_ref_is_a_code"), transaction.atomic():
        Case.objects.filter(pk=case.pk).update(patient_ref=reference)


def test_a_case_beyond_the_draft_is_signed() -> None:
    case = build.draft_case()
    with pytest.raises(IntegrityError, match="case_beyond_draft_signed"), transaction.atomic():
        Case.objects.filter(pk=case.pk).update(state="accepted")


def test_a_hold_has_a_reason() -> None:
    case = build.signed_case()
    with pytest.raises(IntegrityError, match="hold_has_reason"), transaction.atomic():
        Case.objects.filter(pk=case.pk).update(held_since=timezone.now())


def test_a_case_has_one_draft() -> None:
    case = build.draft_case()
    with pytest.raises(IntegrityError), transaction.atomic():
        Prescription.objects.create(case=case, version=2)


@pytest.mark.parametrize("given", [{"hash": "x"}, {"signed_at": timezone.now()}])
def test_a_signature_is_whole(given: dict[str, Any]) -> None:
    case = build.draft_case()
    with pytest.raises(IntegrityError, match="signature_whole"), transaction.atomic():
        Prescription.objects.filter(case=case).update(**given)


def test_who_signs_has_a_licence() -> None:
    member = cast.prescriber().member
    with pytest.raises(IntegrityError, match="signer_has_licence"), transaction.atomic():
        Member.objects.filter(pk=member.pk).update(licence_number="")


@pytest.mark.parametrize("weekdays", ["", "7", "mon"])
def test_a_practice_takes_deliveries_on_weekdays(weekdays: str) -> None:
    practice = cast.practice()
    with pytest.raises(IntegrityError, match="practice_weekdays"), transaction.atomic():
        Practice.objects.filter(pk=practice.pk).update(weekdays=weekdays)


def test_what_hangs_together_is_not_deleted() -> None:
    case = build.signed_case()
    for row in (case, case.practice, case.created_by, cast.prescriber().member):
        with pytest.raises(ProtectedError):
            row.delete()


def test_what_a_case_shows() -> None:
    case = build.signed_case()
    assert (case.shown, case.draft, str(case)) == (case.current, None, f"Case {case.number}")
    fresh = build.draft_case()
    assert fresh.shown == fresh.draft
    assert [make.value for make in fresh.draft.makes] if fresh.draft else [] == ["metal_abutment", "zirconia_crown"]


def test_a_platform_for_people() -> None:
    case = build.draft_case()
    assert case.draft is not None
    assert [item.platform_mm for item in case.draft.items.all()] == ["4.3 mm", ""]


def late_piece(case: Case, prescription: Prescription | None) -> Item:
    """A further crown for a version, not yet saved."""
    facts = {"stage": case.stage, "kind": "crown", "tooth": 26, "material": "zirconia_4y", "shade": build.SHADE}
    return Item(prescription=prescription, line=9, retention="cement", **facts)


def test_a_draft_takes_further_pieces() -> None:
    case = build.draft_case()
    late_piece(case, case.draft).save()
    assert case.draft is not None
    assert case.draft.items.count() == 3


@pytest.mark.parametrize("frozen", [False, True])
def test_a_signed_version_takes_no_further_piece(frozen: bool) -> None:
    case = build.signed_case()
    assert case.current is not None
    piece = late_piece(case, case.current)
    piece.frozen = frozen
    for write in (piece.save, lambda: Item.objects.bulk_create([piece])):
        with pytest.raises(IntegrityError, match="orders_prescription is complete"), transaction.atomic():
            write()
    assert case.current.items.count() == 2


def test_no_piece_is_moved_into_a_signed_version() -> None:
    case = build.signed_case()
    draft = amend(cast.prescriber(), case)
    piece = late_piece(case, draft)
    piece.save()
    with pytest.raises(IntegrityError, match="orders_prescription is complete"), transaction.atomic():
        Item.objects.filter(pk=piece.pk).update(prescription=case.current)
    assert (case.current and case.current.items.count(), draft.items.count()) == (2, 3)
