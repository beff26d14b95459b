"""What is missing lets a signed case stand still, until somebody answers, or a version or a file brings it."""

from typing import Any

import pytest
import time_machine
from django.db import transaction

from labqueue.base import audit
from labqueue.base.errors import Conflict
from orders import standstill
from orders.acceptance import accept
from orders.intake import edit_draft
from orders.models import Case, Message
from orders.signoff import amend, sign
from orders.talk.answer import answer
from orders.talk.stops import open_stops
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused
from tests.orders.rules.test_fields import attach

pytestmark = pytest.mark.django_db

BARE: dict[str, Any] = {"items": [build.abutment(system="", level=""), build.crown(shade="")], "bite": ""}
SCAN: dict[str, Any] = {"impression": "scan", "items": [build.crown()]}
K = Message.Kind


def asked(case: Case) -> list[tuple[str, list[str]]]:
    """What is open: kind and fields."""
    return [(one.kind, one.fields) for one in open_stops(case)]


def again(case: Case, **facts: Any) -> Case:
    """The case with another version signed."""
    amend(cast.prescriber(), case)
    edit_draft(cast.prescriber(), case, **build.order(patient_ref=case.patient_ref, **facts))
    sign(cast.prescriber(), case, reasons=build.reasons_for(Case.objects.get(pk=case.pk)))
    case.refresh_from_db()
    return case


def test_what_is_missing_is_asked_in_one_message() -> None:
    case = build.signed_case(**BARE)
    assert (case.state, case.on_hold) == ("signed", True)
    assert asked(case) == [(K.MISSING, ["1.system", "1.level", "bite", "2.shade"])]
    (message,) = open_stops(case)
    assert message.by is None
    assert "Give the shade of the crown, as on your shade guide. (8 Universal)" in message.text
    assert case.hold_reason == message.text[:199] + "…"


def test_a_sentence_is_said_once_for_all_its_teeth() -> None:
    case = build.signed_case(items=[build.crown("8", shade=""), build.crown("9", shade="")])
    assert [one.text for one in open_stops(case)] == [
        "Give the shade of the crown, as on your shade guide. (8, 9 Universal)"
    ]


def test_the_clock_has_not_begun_while_something_is_missing() -> None:
    case = build.signed_case(**BARE)
    case.refresh_from_db()
    assert case.due_at is not None
    assert (case.complete_at, case.first_due_at) == (None, None)


def test_a_whole_order_is_complete_with_its_signature() -> None:
    case = build.signed_case()
    assert asked(case) == []
    assert case.current is not None
    assert case.first_due_at == case.due_at is not None
    assert case.complete_at is not None


def test_nothing_is_accepted_while_it_stands_still() -> None:
    case, manager = build.signed_case(**BARE), cast.manager()
    with refused("", "is on hold", Conflict):
        accept(manager, case)


def test_an_answer_lets_it_go_on_with_its_first_date() -> None:
    with time_machine.travel("2031-03-05T15:00:00Z", tick=False):
        case = build.signed_case(seat_at=None, items=[build.crown(shade="")])
    with time_machine.travel("2031-03-07T15:00:00Z", tick=False):
        answer(cast.technician(), case, open_stops(case).get(), "N2, on the photo.")
    case.refresh_from_db()
    assert not case.on_hold
    assert case.complete_at is not None
    assert case.complete_at.isoformat() == "2031-03-07T15:00:00+00:00"
    assert case.first_due_at == case.due_at
    # Counted from the signature, and from Thursday 13, moved by the two days that it stood.
    assert case.due_at is not None
    assert case.due_at.isoformat() == "2031-03-17T20:30:00+00:00"


def test_a_version_that_brings_it_answers_by_itself() -> None:
    case = again(build.signed_case(**BARE))
    assert (asked(case), case.on_hold, case.hold_reason) == ([], False, "")
    assert case.complete_at is not None
    assert case.first_due_at == case.due_at
    told = Message.objects.get(case=case, kind=K.ANSWER)
    assert (told.by, told.text, told.answers.kind if told.answers else "") == (None, "Brought.", K.MISSING)
    assert accept(cast.manager(), case).state == "accepted"


def test_a_version_that_brings_some_of_it_is_asked_for_the_rest() -> None:
    case = again(build.signed_case(**BARE), items=[build.abutment(), build.crown(shade="")])
    assert asked(case) == [(K.MISSING, ["2.shade"])]
    assert case.hold_reason == "Give the shade of the crown, as on your shade guide. (8 Universal)"
    assert (case.complete_at, case.first_due_at) == (None, None)


def test_the_same_is_not_asked_twice() -> None:
    first = build.signed_case(**BARE)
    before = [one.pk for one in open_stops(first)]
    assert [one.pk for one in open_stops(again(first, **BARE))] == before


def test_what_a_person_answered_is_not_asked_again() -> None:
    case = build.signed_case(items=[build.crown(shade="")])
    answer(cast.technician(), case, open_stops(case).get(), "By telephone: as tooth 21.")
    assert asked(again(case, items=[build.crown(shade="")], note="Light contacts.")) == []


def test_what_a_version_brought_and_a_later_one_takes_away_is_asked_again() -> None:
    case = again(again(build.signed_case(**BARE)), items=[build.abutment(system=""), build.crown()])
    assert asked(case) == [(K.MISSING, ["1.system"])]


def test_a_question_stays_open_beside_it() -> None:
    case = build.signed_case(**BARE)
    with transaction.atomic():
        Message.objects.create(case=case, kind=K.QUESTION, text="Which bite?", stops=True, at=case.created_at)
    assert asked(again(case)) == [(K.QUESTION, [])]


def test_what_meets_the_implant_is_never_made_unknown() -> None:
    case, manager = build.signed_case(items=[build.screw_crown(system="", platform=None)]), cast.manager()
    answer(cast.technician(), case, open_stops(case).get(), "By telephone: they do not know.")
    with refused("items.0.system", "V05: Give the implant system", Conflict):
        accept(manager, case)
    with refused("items.0.platform", "V05: Give the diameter", Conflict):
        accept(manager, case)
    assert accept(manager, again(case, items=[build.screw_crown()])).accepted_by == manager


def test_who_accepts_is_kept_until_the_next_signature() -> None:
    case = build.accepted_case()
    assert case.accepted_by == cast.manager()
    assert again(case).accepted_by is None


def test_a_second_order_for_the_same_tooth_stands_still() -> None:
    first = build.signed_case(patient_ref="K-7")
    second = build.signed_case(patient_ref="K-7", items=[build.screw_crown()])
    assert asked(second) == [(K.DUPLICATE, [first.number])]
    assert first.number in second.hold_reason
    assert second.hold_reason.startswith("V16: ")
    first.refresh_from_db()
    assert not first.on_hold


def test_that_both_are_meant_is_said_once() -> None:
    build.signed_case(patient_ref="K-7")
    second = build.signed_case(patient_ref="K-7", items=[build.screw_crown()])
    answer(cast.assistant(), second, open_stops(second).get(), "Both are meant.")
    assert asked(again(second, items=[build.screw_crown()], note="Soft.")) == []


def test_a_version_for_another_tooth_is_no_duplicate_any_more() -> None:
    build.signed_case(patient_ref="K-7")
    second = build.signed_case(patient_ref="K-7", items=[build.screw_crown()])
    assert asked(again(second, items=[build.screw_crown("9")])) == []


def test_a_scan_waits_for_its_files() -> None:
    case = build.signed_case(**SCAN)
    assert asked(case) == [(K.MISSING, ["implant_scan"])]
    standstill.bring(case)
    assert asked(case) == [(K.MISSING, ["implant_scan"])]
    attach(case, "implant_scan")
    standstill.bring(case)
    case.refresh_from_db()
    assert (asked(case), case.on_hold) == ([], False)
    assert case.complete_at is not None


def test_a_file_for_a_case_that_waits_for_nothing_changes_nothing() -> None:
    case, draft = build.signed_case(), build.draft_case()
    for one in (case, draft):
        before = (len(audit.trail(one)), one.messages.count())
        standstill.bring(one)
        assert (len(audit.trail(one)), one.messages.count()) == before


def test_a_very_long_list_of_what_is_missing_is_cut() -> None:
    items = [
        build.screw_crown(str(n), system="", connection="", platform=None, level="", shade="") for n in range(2, 10)
    ]
    case = build.signed_case(
        **build.bare_order(allergy="none", items=items, patient_ref="K-9", impression="", enclosed=[])
    )
    (message,) = open_stops(case)
    assert len(message.text) <= 1000
    assert len(message.fields) > 40
