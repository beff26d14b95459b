"""The treatment on pages and for programs: what is shown, done and refused."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from orders.intake import open_case
from orders.models import Evaluation
from orders.models.treatment import JUDGED
from tests import cast
from tests.orders import build
from tests.orders.test_api import Program
from tests.orders.test_case_pages import browser, text
from tests.orders.treatment.test_evaluate import seated
from tests.orders.treatment.test_relation import provisional

pytestmark = pytest.mark.django_db
FORM = {**dict.fromkeys(JUDGED, "ok"), "facial": "ok", "facial_mm": "", "happy": "yes", "words": "", "changes": ""}


def shown_again(client: Client, address: str, sent: dict[str, str], words: str) -> None:
    """The form is shown again, with the fault."""
    answer = client.post(address, sent)
    assert answer.status_code == 422
    assert words in text(answer)


def final_of(case: Any, **facts: Any) -> Any:
    """A final ordered after that provisional."""
    order = build.order(origin=case.number, relation="final", items=[build.screw_crown()], **facts)
    return open_case(cast.prescriber(), **order)


def test_the_provisional_shows_both_appointments_and_what_can_be_ordered_next() -> None:
    case = seated(25)
    page = text(browser(cast.assistant()).get(f"/cases/{case.number}/treatment"))
    assert "Both appointments" in page
    assert "The three weeks of trial are over" in page
    for way in ("final_of", "remake_of", "adjustment_of", "like"):
        assert f"/cases/new?{way}={case.number}" in page
    assert f"/cases/{case.number}/evaluation" in page


def test_the_laboratory_reads_it_and_is_asked_nothing() -> None:
    case = seated(25)
    page = text(browser(cast.technician()).get(f"/cases/{case.number}/treatment"))
    assert "Both appointments" in page
    assert "How did it do?" not in page
    assert "/cases/new" not in page
    assert "<form" not in page.split('id="treatment"')[1]


def test_provisional_and_final_lead_to_each_other() -> None:
    case = provisional()
    final = final_of(case)
    client = browser(cast.assistant())
    assert f'href="/cases/{final.number}"' in text(client.get(f"/cases/{case.number}/treatment"))
    back = text(client.get(f"/cases/{final.number}/treatment", headers={"HX-Request": "true"}))
    assert f'Final after a provisional: follows case <a class="code" href="/cases/{case.number}"' in back
    assert "<html" not in back


def test_the_case_has_it_as_a_part() -> None:
    case = provisional()
    assert f'hx-get="/cases/{case.number}/treatment"' in text(browser(cast.assistant()).get(f"/cases/{case.number}"))


def test_more_evaluations_and_followers_take_no_more_queries() -> None:
    case = provisional()
    client, counts = browser(cast.assistant()), []
    for number in range(3):
        with CaptureQueriesContext(connection) as queries:
            client.get(f"/cases/{case.number}/treatment")
        counts.append(len(queries))
        final_of(case)
        given = {**dict.fromkeys(JUDGED, "ok"), "facial": "ok", "happy": True, "decision": "wait"}
        Evaluation.objects.create(case=case, by=cast.user(f"one-{number}", "practice"), at=timezone.now(), **given)  # type: ignore[arg-type]
    assert counts[0] == counts[1] == counts[2]


def test_a_plan_is_kept_and_one_before_the_provisional_is_refused_at_the_day() -> None:
    case = build.signed_case(stage="provisional", items=[build.screw_crown(material="pmma")])
    client, address = browser(cast.assistant()), f"/cases/{case.number}/plan"
    assert case.seat_at is not None
    soon, later = (f"{case.seat_at + timedelta(days=days):%Y-%m-%d}" for days in (-1, 60))
    shown_again(client, address, {"seat_day": soon, "seat_time": "10:00"}, "The final follows the provisional")
    shown_again(client, address, {"seat_day": later, "seat_time": ""}, "Give the time of the appointment")
    case.refresh_from_db()
    assert case.final_seat_at is None
    answer = client.post(address, {"seat_day": later, "seat_time": "10:00"})
    assert answer.headers["Location"] == f"/cases/{case.number}"
    case.refresh_from_db()
    assert f"{case.final_seat_at:%Y-%m-%d}" == later
    client.post(address, {"seat_day": "", "seat_time": ""})
    case.refresh_from_db()
    assert case.final_seat_at is None


def test_an_evaluation_is_kept_and_leads_to_the_order_of_the_final() -> None:
    case = seated(25)
    client, address = browser(cast.assistant()), f"/cases/{case.number}/evaluation"
    assert "What now?" in text(client.get(address))
    answer = client.post(address, {**FORM, "decision": "final", "length": "change", "changes": "Shorter."})
    assert answer.headers["Location"] == f"/cases/new?final_of={case.number}"
    found = case.evaluations.get()
    assert (found.length, found.changes, found.by) == ("change", "Shorter.", cast.assistant())
    page = text(client.get(f"/cases/{case.number}/treatment"))
    assert "to be changed: length. Shorter." in page
    assert "The patient is happy with it." in page
    waits = client.post(address, {**FORM, "decision": "wait"})
    assert waits.headers["Location"] == f"/cases/{case.number}"


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({"decision": ""}, "Decide: the final now, reshape, or wait."),
        ({"happy": ""}, "Say whether the patient is happy with it."),
        ({"length": "change"}, "Say what is to be changed"),
        ({"facial_mm": "0.5"}, "leave the millimetres out"),
        ({"facial_mm": "much"}, "Enter a number"),
    ],
)
def test_a_form_that_cannot_be_meant_is_shown_again(sent: dict[str, str], words: str) -> None:
    case = seated(25)
    form = {**FORM, "decision": "final", **sent}
    shown_again(browser(cast.assistant()), f"/cases/{case.number}/evaluation", form, words)
    assert not case.evaluations.exists()


def test_programs_plan_evaluate_and_read() -> None:
    case, program = seated(25), Program(cast.assistant())
    found = program.ask("GET", f"/{case.number}/treatment").json()
    assert [one["stage"] for one in found["appointments"]] == ["provisional", "final"]
    assert found["evaluation_due_since"] is not None
    body = {"decision": "final", "happy": True, "facial": "too_high", "facial_mm": "0.4", "judged": {"bite": "change"}}
    answer = program.ask("POST", f"/{case.number}/evaluations", {**body, "changes": "Out of bite."})
    assert answer.status_code == 201
    assert (answer.json()["facial_mm"], answer.json()["judged"]["bite"]) == ("0.4", "change")
    planned = program.ask("POST", f"/{case.number}/plan", {"final_seat_at": f"{build.seat_in(30).isoformat()}"}).json()
    assert planned["final_seat_at"] is not None
    assert planned["evaluation_due_since"] is None


def test_programs_are_refused_in_words() -> None:
    case, program = seated(25), Program(cast.assistant())
    answer = program.ask("POST", f"/{case.number}/evaluations", {"decision": "later"})
    assert answer.status_code == 422
    assert not case.evaluations.exists()
    assert {error["pointer"] for error in answer.json()["errors"]} == {"/decision", "/happy"}
    naive = program.ask("POST", f"/{case.number}/plan", {"final_seat_at": "2031-01-01T10:00:00"})
    assert naive.status_code in (400, 422)


def test_what_is_carried_can_be_sent_once_the_material_is_chosen() -> None:
    case, program = provisional(), Program(cast.assistant())
    order = program.ask("GET", f"/{case.number}/carry?relation=final").json()
    assert (order["origin"], order["relation"], order["items"][0]["emergence"]) == (case.number, "final", "copy")
    order["items"][0]["material"] = "zirconia_4y"
    answer = program.ask("POST", "", order)
    assert answer.status_code == 201, answer.json()
    assert answer.json()["origin"] == case.number


def test_nobody_else_carries_a_practices_case() -> None:
    case = provisional()
    cast.assistant("southgate")
    assert Program(cast.assistant("southgate")).ask("GET", f"/{case.number}/carry?relation=final").status_code == 404
    assert browser(cast.assistant("southgate")).get(f"/cases/{case.number}/evaluation").status_code == 404


def test_a_final_that_is_ordered_has_its_own_appointment_and_is_not_ordered_twice() -> None:
    case = provisional()
    final = final_of(case, seat_at=build.seat_in(30))
    page = text(browser(cast.assistant()).get(f"/cases/{case.number}/treatment"))
    assert f"{final.seat_at:%-d %b}" in page.split("Both appointments")[1]
    assert "not planned" not in page
    assert "final_of" not in page
    assert "Plan the appointment of the final" not in page
