"""The second person's look: who may confirm, what must be the same, how long it stands."""

from decimal import Decimal
from typing import Any

import pytest
from django.db import DatabaseError, transaction

from labqueue.base import audit
from labqueue.base.errors import Conflict, Forbidden, Refusal
from labqueue.base.models import User
from labqueue.base.roles import Role
from orders.acceptance import accept
from orders.implant.confirm import confirm
from orders.implant.reads import confirmed, unconfirmed
from orders.intake import edit_draft
from orders.models import Case, Confirmation
from orders.signoff import amend, sign
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused

pytestmark = pytest.mark.django_db

READ: dict[str, Any] = {"tooth": "8", "notation": "universal", "kind": "abutment", "source": "sticker", **build.IMPLANT}


def second(case: Case, actor: User | None = None, **read: Any) -> Confirmation:
    """A second person confirms what was read."""
    return confirm(actor or cast.technician(), case, **{**READ, **read})


def versions(case: Case, **facts: Any) -> Case:
    """The case with another version signed and accepted."""
    doctor = cast.prescriber()
    amend(doctor, case)
    edit_draft(doctor, case, **build.order(patient_ref=case.patient_ref, **facts))
    sign(doctor, case)
    return accept(cast.manager(), case)


def test_what_was_read_is_kept_by_name() -> None:
    case = build.accepted_case()
    found = second(case, system="  averin   c ")
    assert (found.tooth, found.kind, found.system, found.connection) == (11, "abutment", "Averin C", "conical")
    assert (found.platform, found.level, found.source, found.by) == (430, "bone", "sticker", cast.technician())
    event = audit.trail(case)[-1]
    assert (event.verb, event.actor, event.after["platform"]) == ("implant confirmed", cast.technician(), 430)
    assert unconfirmed(case) == []


def test_a_confirmation_stays_as_it_is() -> None:
    found = second(build.accepted_case())
    for change in (lambda: Confirmation.objects.update(platform=480), found.delete):
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
            change()


@pytest.mark.parametrize(
    ("read", "field", "words"),
    [
        ({"platform": Decimal("4.8")}, "platform", "V06: The platform was read as “4.8 mm”, ordered is “4.3 mm”."),
        ({"platform": None}, "platform", "read as “nothing”"),
        ({"connection": "internal_hex"}, "connection", "V06: The connection was read as “Internal hex”"),
        ({"connection": "bayonet"}, "connection", "read as “bayonet”"),
        ({"system": "Averin D"}, "system", "V06: The system was read as “Averin D”, ordered is “Averin C”."),
        ({"level": "tissue"}, "level", "V06: The level was read as “Tissue level”"),
        ({"source": ""}, "source", "Say where you read it: scan_body, sticker, both."),
        ({"tooth": "9"}, "tooth", "no such piece on this tooth"),
        ({"kind": "crown"}, "tooth", "no such piece on this tooth that meets an implant"),
        ({"notation": ""}, "tooth", "in which notation"),
    ],
)
def test_what_was_read_otherwise_is_refused(read: dict[str, Any], field: str, words: str) -> None:
    case, technician = build.accepted_case(), cast.technician()
    with refused(field, words, also=(Confirmation,)):
        second(case, technician, **read)


def test_everything_that_differs_is_said_at_once() -> None:
    case = build.accepted_case()
    with pytest.raises(Refusal) as caught:
        second(case, platform=Decimal("4.8"), system="Other", source="")
    assert [fault.field for fault in caught.value.faults] == ["system", "platform", "source"]


def test_who_accepted_is_not_the_second_person() -> None:
    case, manager = build.accepted_case(), cast.manager()
    with refused("", "You accepted this case. A second person", Forbidden, also=(Confirmation,)):
        second(case, manager)


def test_a_practice_does_not_confirm() -> None:
    case, doctor = build.accepted_case(), cast.prescriber()
    with refused("", "Only people of the laboratory", Forbidden, also=(Confirmation,)):
        second(case, doctor)


@pytest.mark.parametrize("make", [build.signed_case, build.draft_case, build.shipped_case])
def test_only_an_accepted_case_is_confirmed(make: Any) -> None:
    case, technician = make(), cast.technician()
    with refused("", "An implant is confirmed once the case is accepted.", Conflict, also=(Confirmation,)):
        second(case, technician)


def test_a_piece_is_confirmed_once() -> None:
    case = build.accepted_case()
    second(case)
    other = User.objects.create_user("tim", password="tim" * 4, role=Role.TECHNICIAN)
    with refused("", "has confirmed this piece already", Conflict, also=(Confirmation,)):
        second(case, other)


def test_a_level_that_was_answered_for_in_words_is_not_compared() -> None:
    case = build.signed_case(items=[build.abutment(level="")])
    build.let_go_on(case)
    accept(cast.manager(), case)
    assert second(case, level="tissue").level == ""
    assert unconfirmed(case) == []


def test_a_crown_on_an_abutment_is_not_confirmed() -> None:
    assert confirmed(build.accepted_case(items=[build.crown()])) == []


def test_it_stands_for_a_later_version_with_the_same_implant() -> None:
    case = build.accepted_case()
    second(case)
    versions(case, items=[build.abutment(lot="L 9"), build.crown(shade="N3")])
    assert unconfirmed(case) == []


@pytest.mark.parametrize(
    "facts",
    [
        {"platform": Decimal("4.8")},
        {"connection": "morse"},
        {"system": "Averin D"},
        {"level": "tissue"},
        {"tooth": "9"},
    ],
)
def test_another_implant_is_confirmed_anew(facts: dict[str, Any]) -> None:
    case = build.accepted_case()
    second(case)
    versions(case, items=[build.abutment(**facts)])
    assert [item.kind for item in unconfirmed(case)] == ["abutment"]


def test_whoever_confirms_and_then_accepts_is_one_person() -> None:
    case = build.accepted_case()
    second(case)
    versions(case)
    Case.objects.filter(pk=case.pk).update(accepted_by=cast.technician())
    case.refresh_from_db()
    assert len(unconfirmed(case)) == 1
