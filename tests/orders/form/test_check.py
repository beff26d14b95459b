"""The check of an order while it is filled in: the same rules, and nothing is written."""

import json
import re
from typing import Any

import pytest
import time_machine
from django.test import Client

from orders.models import Case
from orders.signoff import amend
from tests import cast
from tests.orders import build
from tests.orders.refusals import everything
from tests.orders.test_api import Program
from tests.orders.test_case_pages import browser, text
from tests.orders.test_order_form import sheet, tooth

pytestmark = pytest.mark.django_db
TABLES = (Case,)
COMES: dict[str, Any] = {
    "impression": "open_tray",
    "analog": "laboratory",
    "opposing": "impression",
    "bite": "record",
    "disinfected_with": "Peracetic acid",
    "disinfected_minutes": "10",
}


@pytest.fixture
def assistant(client: Client) -> Client:
    """A browser of the practice's assistant."""
    client.force_login(cast.assistant())
    return client


def said(client: Client, sent: dict[str, str], path: str = "/cases/check") -> str:
    """What the check says; it writes nothing."""
    before = everything(TABLES)
    answer = client.post(path, sent)
    assert answer.status_code == 200
    assert everything(TABLES) == before
    return text(answer)


def part(page: str, label: str) -> str:
    """One section of the answer; empty where it is not there."""
    start = page.find(f'aria-label="{label}"')
    return page[start : page.index("</section>", start)] if start >= 0 else ""


def test_a_complete_order_says_so_with_its_date(assistant: Client) -> None:
    page = said(assistant, sheet(tooth(0, level="bone"), **COMES))
    assert "Complete: it can be signed and begun." in page
    assert "Leaves the laboratory on" in page


def test_what_is_missing_is_said_with_what_would_satisfy(assistant: Client) -> None:
    page = said(assistant, sheet(tooth(0, system="", shade="", level="bone"), **COMES))
    held = part(page, "Stands still")
    assert "Tooth 8 Universal, upper right central incisor: Give the implant system" in held
    assert "Give the shade of the crown" in held
    assert "Complete" not in page


def test_what_is_refused_is_said(assistant: Client) -> None:
    page = said(assistant, sheet(tooth(0, crown_material="pmma", level="bone"), **COMES))
    assert "V04: PMMA is not possible for a final crown" in part(page, "Not possible")


def test_what_is_unusual_asks_for_a_reason_and_keeps_what_was_typed(assistant: Client) -> None:
    sent = sheet(tooth(0, crown_material="zirconia_3y", level="bone"), **COMES)
    page = said(assistant, sent)
    assert 'name="reason-V04-11"' in part(page, "Wants a reason")
    assert "Complete" not in page
    typed = said(assistant, {**sent, "reason-V04-11": "As discussed."})
    assert 'value="As discussed."' in part(typed, "Wants a reason")
    assert "Complete" in typed


def test_a_reason_of_the_form_is_kept_with_the_draft(assistant: Client) -> None:
    sent = sheet(tooth(0, crown_material="zirconia_3y", level="bone"), **COMES)
    assert assistant.post("/cases/new", {**sent, "reason-V04-11": "As discussed."}).status_code == 302
    case = Case.objects.get()
    assert case.draft is not None
    assert [(one.rule, one.text, one.by) for one in case.draft.reasons.all()] == [
        ("V04", "As discussed.", cast.assistant())
    ]


def test_what_cannot_be_read_yet_is_named(assistant: Client) -> None:
    page = part(said(assistant, sheet(tooth(0, platform="wide"), patient_ref="")), "Cannot be read")
    assert "Platform, mm: Enter a number." in page
    assert "Patient reference: Give a code of your own" in page


def test_what_cannot_be_read_hides_nothing_of_the_rest(assistant: Client) -> None:
    wrong = tooth(0, platform="abc", system="", crown_material="zirconia_3y", abutment_material="pmma", level="bone")
    page = said(assistant, {**sheet(wrong, **COMES), "reason-V04-11": "As discussed."})
    assert "Platform, mm: Enter a number." in part(page, "Cannot be read")
    assert "PMMA is not possible for a final abutment" in part(page, "Not possible")
    assert "Give the implant system" in part(page, "Stands still")
    assert 'value="As discussed."' in part(page, "Wants a reason")
    assert "platform" not in part(page, "Stands still"), "it is said, if not so that it can be read"
    assert "Leaves the laboratory on" in page
    assert "Complete" not in page


@pytest.mark.parametrize("name", ["tooth", "notation", "product", "crown_material", "connection", "lot", "angle"])
@pytest.mark.parametrize("junk", ["", "“"])
def test_any_field_of_a_tooth_may_be_unreadable(assistant: Client, name: str, junk: str) -> None:
    """With a reason for a rule of that tooth, and a second tooth of which everything can be read."""
    other = tooth(1, tooth="9", crown_material="pmma", level="bone")
    sent = sheet(tooth(0, **{name: junk}), other, **COMES)
    page = said(assistant, {**sent, "reason-V04-11": "As discussed."})
    assert "Tooth 9 Universal" in part(page, "Not possible")
    assert "Order at least one piece" not in page


@pytest.mark.parametrize("name", ["patient_ref", "stage", "allergy", "impression", "seat_day", "seat_time", "enclosed"])
def test_any_field_of_the_order_may_be_unreadable(assistant: Client, name: str) -> None:
    page = said(assistant, sheet(tooth(0, level="bone"), **{**COMES, name: "“"}))
    if name != "patient_ref":
        assert part(page, "Cannot be read").count("<li>") == 1
    assert "Say what guides the jaw" in page


def test_a_sheet_without_any_tooth_is_examined(assistant: Client) -> None:
    assert "Order at least one piece" in part(said(assistant, {"patient_ref": "K-1"}), "Not possible")


@pytest.mark.parametrize("facts", [{"platform": "abc"}, {"abutment_material": "pmma"}])
def test_after_a_refusal_the_findings_stand_with_the_reasons_typed(assistant: Client, facts: dict[str, str]) -> None:
    sent = sheet(tooth(0, crown_material="zirconia_3y", system="", level="bone", **facts), **COMES)
    answer = assistant.post("/cases/new", {**sent, "reason-V04-11": "As discussed."})
    assert (answer.status_code, Case.objects.exists()) == (422, False)
    page = text(answer)
    assert 'value="As discussed."' in part(page, "Wants a reason")
    assert "Give the implant system" in part(page, "Stands still")


def test_a_conflict_of_dates_is_said_with_its_ways_out(assistant: Client) -> None:
    soon = build.seat_in(4)
    page = said(assistant, sheet(tooth(0, level="bone"), **COMES, seat_day=f"{soon:%Y-%m-%d}"))
    assert "Ways out: move the appointment to" in page
    assert "order a rush (then" in page


def test_without_an_appointment_the_first_day_for_one_is_said(assistant: Client) -> None:
    page = said(assistant, sheet(tooth(0, level="bone"), **COMES, seat_day="", seat_time=""))
    assert re.search(r"Leaves the laboratory on [^<]+, for an appointment from \w{3} \d+ \w{3} on\.", page)


@time_machine.travel("2031-02-03T15:00:00Z", tick=False)
def test_with_an_appointment_the_earliest_is_said_beside_it(client: Client) -> None:
    client.force_login(cast.assistant())
    open_day = said(client, sheet(tooth(0, level="bone"), **COMES, seat_day="2031-02-28"))
    assert "for an appointment from" not in open_day
    found = re.search(r"on (.+?) for your appointment; the earliest appointment would be \w{3} (\d+) Feb\.", open_day)
    assert found
    assert "Wed 26 Feb" in found[1]
    assert int(found[2]) < 26
    assert "takes no deliveries" not in open_day
    saturday = said(client, sheet(tooth(0, level="bone"), **COMES, seat_day="2031-03-01"))
    assert "Your practice takes no deliveries on the day of the appointment." in saturday


def test_a_change_of_a_draft_is_checked_as_that_draft(assistant: Client) -> None:
    case = build.signed_case(patient_ref="K-2041")
    amend(cast.assistant(), case)
    address = f"/cases/{case.number}/check"
    same = sheet(tooth(0, level="bone"), initial=1, **COMES)
    assert "V16" not in said(assistant, same, address), "a case is not its own duplicate"
    assert "V16" in said(assistant, sheet(tooth(0, level="bone"), **COMES)), "a second order is"


def test_only_the_own_practice_is_told(assistant: Client) -> None:
    case = build.draft_case(cast.assistant("southgate"))
    assert assistant.post(f"/cases/{case.number}/check", sheet()).status_code == 404
    assert browser(cast.manager()).post("/cases/check", sheet()).status_code == 403


def test_programs_are_told_the_same(assistant: Client) -> None:
    item: dict[str, Any] = {"kind": "screw_crown", "tooth": "8", "notation": "universal", "material": "pmma"}
    body = {"patient_ref": "K-1", "stage": "final", "items": [item], "allergy": "none", "practice": "southgate"}
    before = everything(TABLES)
    answer = Program(cast.assistant()).post("/api/v1/checks", json.dumps(body), content_type="application/json")
    assert everything(TABLES) == before
    found = {(one["rule"], one["severity"], one["field"]) for one in answer.json()["findings"]}
    assert ("V04", "refuse", "items.0.material") in found
    assert ("practice", "refuse", "practice") in found
    assert ("system", "hold", "items.0.system") in found
    assert answer.json()["seat_from"] is not None
