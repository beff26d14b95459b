"""Verbs of orders at the same moment: one wins, the other hears why, and the database would not let both through."""

import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.db import DatabaseError

from labqueue.base import audit
from labqueue.base.errors import Refusal
from labqueue.base.models import Chain
from orders import seal, signoff
from orders.acceptance import accept
from orders.cancel import cancel
from orders.check import examine_draft
from orders.intake import edit_draft, open_case
from orders.models import Case, Message, Prescription
from orders.signoff import amend, sign
from tests import cast
from tests.orders import build
from tests.races.together import SECONDS, together, without_row_locks

pytestmark = [pytest.mark.postgres, pytest.mark.django_db(transaction=True)]

WON = "won"


def attempt(verb: Callable[[Case], object], case: Case) -> str:
    """Try it on a case read just now; `won`, or what was said instead."""
    try:
        verb(Case.objects.get(pk=case.pk))
    except (Refusal, DatabaseError) as error:
        return f"{type(error).__name__}: {error}"
    return WON


def race(case: Case, *verbs: Callable[[Case], object]) -> list[str]:
    """All of them at the same moment on one case."""
    return together(len(verbs), lambda n: attempt(verbs[n], case))


def whole(case: Case) -> None:
    """The audit chain of the case holds."""
    assert audit.verify(Chain.objects.get(name=audit.chain_name(case))) is None


def test_a_draft_is_signed_once() -> None:
    case, doctor = build.draft_case(), cast.prescriber()
    found = race(case, *[lambda row: sign(doctor, row)] * 4)
    assert sorted(found, reverse=True)[0] == WON
    assert found.count(WON) == 1
    assert all("Conflict" in text and "has no draft" in text for text in found if text != WON)
    assert Prescription.objects.filter(case=case, signed_at__isnull=False).count() == 1
    assert [event.verb for event in audit.trail(case)] == ["opened", "signed"]
    whole(case)


def test_without_the_lock_the_trigger_stops_the_second_signature(monkeypatch: pytest.MonkeyPatch) -> None:
    """The positive control: the race is there, and the database holds where the lock is taken off."""
    case, doctor = build.draft_case(), cast.prescriber()
    without_row_locks(monkeypatch)
    found = race(case, *[lambda row: sign(doctor, row)] * 4)
    assert found.count(WON) == 1
    assert any("Conflict" not in text for text in found if text != WON)


def twins() -> list[Case]:
    """Two drafts for the same patient and tooth, unlike enough to be two orders."""
    return [build.draft_case(patient_ref="K-77", items=[piece]) for piece in (build.abutment(), build.screw_crown())]


def sign_at_once(drafts: list[Case]) -> list[str]:
    """All of them signed at the same moment, with a reason for what is unusual."""
    doctor, reasons = cast.prescriber(), [build.reasons_for(case) for case in drafts]
    return together(len(drafts), lambda n: attempt(lambda row: sign(doctor, row, reasons=reasons[n]), drafts[n]))


def waiting(drafts: list[Case]) -> list[list[str]]:
    """Of each, the numbers of the open cases that it is asked about as a duplicate."""
    asked = Message.objects.filter(kind=Message.Kind.DUPLICATE, stops=True, answer__isnull=True)
    return [[number for one in asked.filter(case=case) for number in one.fields] for case in drafts]


def test_of_two_signed_at_once_for_one_tooth_the_later_stands_still() -> None:
    first, second = drafts = twins()
    assert sign_at_once(drafts) == [WON, WON]
    assert waiting(drafts) in ([[second.number], []], [[], [first.number]])
    for case, asked in zip(drafts, waiting(drafts), strict=True):
        case.refresh_from_db()
        assert (case.state, case.on_hold) == ("signed", bool(asked))
        whole(case)


def test_without_the_lock_on_the_practice_neither_knows_of_the_other(monkeypatch: pytest.MonkeyPatch) -> None:
    """The positive control: both are held up until both have looked, and then nobody has seen anything."""
    drafts, looked = twins(), threading.Barrier(2)

    def look_together(*given: Any) -> Any:
        found = examine_draft(*given)
        looked.wait(SECONDS)
        return found

    monkeypatch.setattr(signoff, "lock_practice", lambda practice: None)
    monkeypatch.setattr(signoff, "examine_draft", look_together)
    assert sign_at_once(drafts) == [WON, WON]
    assert waiting(drafts) == [[], []]


def test_a_change_is_begun_once() -> None:
    case, assistant = build.signed_case(), cast.assistant()
    found = race(case, *[lambda row: amend(assistant, row)] * 4)
    assert found.count(WON) == 1
    assert all("is already being prepared" in text for text in found if text != WON)
    assert [version.version for version in case.prescriptions.all()] == [1, 2]


def test_a_signature_never_lands_under_facts_that_nobody_read() -> None:
    case, doctor, assistant = build.draft_case(), cast.prescriber(), cast.assistant()
    assert case.draft is not None
    mark, order = seal.mark(case, case.draft), build.order(items=[build.abutment(), build.crown(shade="N3")])
    found = race(case, lambda row: sign(doctor, row, seen=mark), lambda row: edit_draft(assistant, row, **order))
    case.refresh_from_db()
    assert found.count(WON) == 1
    if found[0] == WON:
        assert case.current is not None
        assert [item.shade for item in case.current.items.all()] == ["", "N2"]
    else:
        assert case.current is None
        assert "changed after you read it" in found[0]


def test_a_case_is_accepted_once_or_cancelled() -> None:
    case, manager, doctor = build.signed_case(), cast.manager(), cast.prescriber()
    found = race(
        case,
        lambda row: accept(manager, row),
        lambda row: accept(manager, row),
        lambda row: cancel(doctor, row, "No longer wanted"),
    )
    case.refresh_from_db()
    assert found[2] == WON
    assert found[:2].count(WON) <= 1
    assert case.state == "cancelled"
    whole(case)


def test_numbers_of_cases_have_no_gap_and_no_twin() -> None:
    assistant, order = cast.assistant(), build.order()
    found = together(8, lambda n: open_case(assistant, **order).number)
    serials = sorted(int(number[2:]) for number in found)
    assert serials == list(range(1, 9))
