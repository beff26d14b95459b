"""What may follow what: a final its provisional, a remake and an adjustment what has left."""

from typing import Any

import pytest

from orders.intake import edit_draft, open_case
from orders.models import Case
from orders.signoff import sign
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused

pytestmark = pytest.mark.django_db
RESIN = {"material": "pmma"}
REMAKE = {"relation": "remake", "cause": "fit"}


def provisional(**facts: Any) -> Case:
    """A provisional crown on tooth 8 that has left the laboratory."""
    return build.shipped_case(stage="provisional", items=[build.screw_crown(**RESIN)], **facts)


def follow(case: Case, **facts: Any) -> Case:
    """An order that follows the case, of the practice of the cast."""
    return open_case(cast.prescriber(), **build.order(origin=case.number, **facts))


def test_a_final_follows_its_provisional_and_can_be_signed() -> None:
    first = provisional()
    final = follow(first, relation="final", items=[build.screw_crown()])
    assert (final.origin, final.relation, final.stage) == (first, "final", "final")
    assert sign(cast.prescriber(), final, reasons=build.reasons_for(final)).hash
    assert list(first.later.all()) == [final]


@pytest.mark.parametrize("facts", [REMAKE, {"relation": "adjustment", "cause_note": "Contact distally too tight"}])
def test_what_has_left_can_be_made_again_or_adjusted(facts: dict[str, str]) -> None:
    first = build.shipped_case()
    assert follow(first, **facts).origin == first


def test_a_final_does_not_follow_a_final_and_a_provisional_is_no_final() -> None:
    final, first = build.shipped_case(), provisional()
    with refused("relation", "A final follows a provisional"):
        follow(final, relation="final")
    with refused("relation", "A final follows a provisional"):
        follow(first, relation="final", stage="provisional", items=[build.screw_crown(**RESIN)])


def test_what_is_made_again_stays_what_it_was() -> None:
    first = provisional()
    with refused("stage", "is a provisional, and stays one"):
        follow(first, **REMAKE, items=[build.screw_crown()])
    last = build.shipped_case(patient_ref="K-5")
    with refused("stage", "is a final, and stays one"):
        follow(last, **REMAKE, patient_ref="K-5", stage="provisional", items=[build.screw_crown(**RESIN)])


def test_a_final_stays_one_while_its_draft_is_changed() -> None:
    draft = follow(provisional(), relation="final", items=[build.screw_crown()])
    with refused("relation", "A final follows a provisional"):
        edit_draft(
            cast.prescriber(),
            draft,
            **build.order(patient_ref=draft.patient_ref, stage="provisional", items=[build.screw_crown(**RESIN)]),
        )


def test_nothing_follows_what_is_still_being_made() -> None:
    case = build.accepted_case()
    with refused("origin", "A remake can be ordered once it is shipped"):
        follow(case, **REMAKE)
    early = build.accepted_case(patient_ref="K-7", stage="provisional", items=[build.screw_crown(**RESIN)])
    with refused("origin", "can be ordered once it is packed"):
        follow(early, relation="final", patient_ref="K-7", items=[build.screw_crown()])


def test_a_packed_provisional_is_enough_for_its_final() -> None:
    case = provisional()
    Case.objects.filter(pk=case.pk).update(state=Case.State.PACKED, shipped_at=None)
    assert follow(case, relation="final", items=[build.screw_crown()]).relation == "final"


def test_it_is_for_the_same_patient_and_tooth() -> None:
    case = build.shipped_case()
    with refused("patient_ref", "What follows it is for the same patient"):
        follow(case, **REMAKE, patient_ref="K-2042")
    with refused("origin", "has no piece on these teeth"):
        follow(case, **REMAKE, items=[build.screw_crown("9")])


def test_it_stays_so_while_the_draft_is_changed() -> None:
    draft = follow(build.shipped_case(), **REMAKE)
    with refused("origin", "has no piece on these teeth"):
        edit_draft(cast.prescriber(), draft, **build.order(items=[build.screw_crown("9")]))
    with refused("patient_ref", "for the same patient"):
        edit_draft(cast.prescriber(), draft, **build.order(patient_ref="K-2042"))


def test_an_adjustment_says_what_is_to_be_adjusted_and_a_remake_why() -> None:
    case = build.shipped_case()
    with refused("cause_note", "Say what is to be adjusted"):
        follow(case, relation="adjustment", cause_note="  ")
    with refused("cause", "Say why it is made again"):
        follow(case, relation="remake")


def test_another_practices_case_does_not_exist() -> None:
    theirs = build.shipped_case(cast.prescriber("southgate"))
    with refused("origin", "You have no case"):
        follow(theirs, **REMAKE)
