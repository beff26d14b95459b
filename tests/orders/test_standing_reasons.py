"""A reason that was given before stands only while what it answers is found as it was."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from orders.check import standing, weighed
from orders.facts import ItemFacts, ReasonFacts, order_facts
from orders.intake import edit_draft
from orders.models import Case, Reason
from orders.signoff import amend, sign
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused
from tests.orders.test_order_form import sheet, tooth

pytestmark = pytest.mark.django_db

WHY = ReasonFacts("V09", "Only slightly deep.", "11", "fdi")


def deep(margin: str) -> list[ItemFacts]:
    """An abutment with this facial margin under its crown."""
    return [build.abutment(margin_facial=Decimal(margin)), build.crown()]


def kept(case: Case, **facts: Any) -> dict[str, Any]:
    """An order for the draft of the case with these facts, which repeats its reasons."""
    assert case.draft is not None
    reasons = order_facts(case, case.draft).reasons
    return build.order(**{"patient_ref": case.patient_ref, "seat_at": case.seat_at, "reasons": reasons, **facts})


def names(case: Case) -> list[tuple[str, str]]:
    """The reasons of the draft, with who gave them."""
    rows = Reason.objects.filter(prescription=case.draft).select_related("by")
    return [(one.text, one.by.username) for one in rows]


@pytest.mark.parametrize("margin", ["-1.7", "-4.9"])
def test_a_kept_reason_falls_with_what_it_answered(margin: str) -> None:
    doctor = cast.prescriber()
    case = build.draft_case(doctor, items=deep("-1.6"), reasons=[WHY])
    edit_draft(doctor, case, **kept(case, items=deep(margin)))
    assert names(case) == []
    with refused("items.0.margin_facial", "ive a short reason."):
        sign(doctor, case)


def test_a_kept_reason_stands_while_anything_else_changes() -> None:
    case = build.draft_case(cast.prescriber(), items=deep("-1.6"), reasons=[WHY])
    edit_draft(cast.assistant(), case, **kept(case, items=deep("-1.6"), note="Soft."))
    assert names(case) == [("Only slightly deep.", "doctor-northgate")]
    assert sign(cast.prescriber(), case).version == 1


def test_the_same_words_given_anew_are_of_who_gives_them() -> None:
    case = build.draft_case(cast.prescriber(), items=deep("-1.6"), reasons=[WHY])
    edit_draft(cast.assistant(), case, **kept(case, items=deep("-4.9"), reasons=[WHY]))
    assert names(case) == [("Only slightly deep.", "assistant-northgate")]
    doctor = cast.prescriber()
    with refused("items.0.margin_facial", "A prescriber decides: give a short reason."):
        sign(doctor, case)


def scanned(days: int) -> dict[str, Any]:
    """An order by a scan that is so many days old."""
    return {
        "items": [build.screw_crown()],
        "impression": "scan",
        "scanned_on": timezone.localdate() - timedelta(days=days),
        "enclosed": [],
        "seat_at": build.seat_in(60),
        "reasons": [ReasonFacts("V18", "Healed long ago.")],
    }


def test_a_signature_does_not_take_a_reason_for_what_time_has_changed() -> None:
    doctor = cast.prescriber()
    case = build.draft_case(doctor, **scanned(40))
    with time_machine.travel(timezone.now() + timedelta(days=30), tick=False), refused("scanned_on", "70 days old"):
        sign(doctor, case)
    assert sign(doctor, case).reasons.get().text == "Healed long ago."


def test_a_change_begins_without_a_reason_for_what_time_has_changed() -> None:
    case = build.draft_case(cast.prescriber(), **scanned(40))
    sign(cast.prescriber(), case)
    with time_machine.travel(timezone.now() + timedelta(days=30), tick=False):
        draft = amend(cast.prescriber(), case)
    assert list(draft.reasons.all()) == []


def test_the_draft_of_a_change_keeps_what_still_stands() -> None:
    case = build.draft_case(cast.prescriber(), items=deep("-1.6"), reasons=[WHY])
    sign(cast.prescriber(), case)
    draft = amend(cast.assistant(), case)
    assert names(case) == [("Only slightly deep.", "doctor-northgate")]
    assert standing(case, draft, [found for found, _ in weighed(case, draft)]) == {("V09", 1)}


@pytest.mark.parametrize(("margin", "there"), [("-1.6", True), ("-1.7", False)])
def test_the_form_offers_a_kept_reason_only_for_what_it_answered(client: Client, margin: str, there: bool) -> None:
    case = build.draft_case(cast.prescriber(), items=deep("-1.6"), reasons=[WHY])
    client.force_login(cast.prescriber())
    sent = sheet(tooth(0, margin_facial=margin), initial=1)
    page = client.post(f"/cases/{case.number}/check", sent).content.decode()
    assert 'name="reason-V09-11"' in page
    assert ('value="Only slightly deep."' in page) == there
    assert client.post(reverse("orders:edit", args=[case.number]), sent).status_code == 302
    assert bool(names(case)) == there
