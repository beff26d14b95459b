"""Orders for programs."""

import json
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from labqueue.base.api import issue_token
from labqueue.base.models import User
from orders.models import Case, Outlook
from orders.order_serializers import PrescriptionIn
from orders.signoff import amend
from tests import cast
from tests.orders import build

pytestmark = pytest.mark.django_db

ITEM = {
    "kind": "screw_crown",
    "tooth": "8",
    "notation": "universal",
    "material": "zirconia_4y",
    "shade": build.SHADE,
    "system": build.SYSTEM,
    "connection": "conical",
    "platform": "4.3",
    "level": "bone",
}
GOOD = {"patient_ref": "K-1", "stage": "final", "items": [ITEM]}


class Program(Client):
    """Somebody's program, with a token."""

    def __init__(self, user: User) -> None:
        super().__init__(headers={"Authorization": f"Bearer {issue_token(user, 'test')}"})

    def ask(self, method: str, path: str, body: Any = None) -> Any:
        """The answer of `path` below /cases; `body` is sent as JSON."""
        address = f"/api/v1/cases{path}"
        return self.generic(method, address, "" if body is None else json.dumps(body), content_type="application/json")


def order(**facts: Any) -> dict[str, Any]:
    """An order as it is sent."""
    seat_at = build.seat_in(15).isoformat()
    return {"patient_ref": "K-2041", "stage": "final", "seat_at": seat_at, "items": [ITEM], **build.COMPLETE, **facts}


def test_a_case_from_order_to_acceptance() -> None:
    assistant, doctor, manager = Program(cast.assistant()), Program(cast.prescriber()), Program(cast.manager())
    opened = assistant.ask("POST", "", order())
    assert opened.status_code == 201
    number, mark = opened.json()["number"], opened.json()["draft"]["mark"]
    signed = doctor.ask("POST", f"/{number}/sign", {"seen": mark})
    assert (signed.status_code, signed.json()["state"], signed.json()["draft"]) == (200, "signed", None)
    accepted = manager.ask("POST", f"/{number}/accept")
    assert (accepted.status_code, accepted.json()["state"]) == (200, "accepted")
    assert accepted.json()["due_at"] == accepted.json()["due"]["due_at"] is not None


def test_a_case_as_it_is_printed() -> None:
    with time_machine.travel("2031-03-05T15:00:00Z", tick=False):
        doctor = Program(cast.prescriber())
        case = build.signed_case(note="Soft.", seat_at=build.seat_in(6), items=[build.screw_crown()])
        found = doctor.ask("GET", f"/{case.number}").json()
    head = [found[name] for name in ("number", "practice", "patient_ref", "stage", "state")]
    assert head == [case.number, "northgate", "K-2041", "final", "signed"]
    assert found["due"]["conflict"].startswith("For this appointment the case must leave the laboratory on Tue 11 Mar")
    version = found["prescription"]
    assert (version["version"], version["signed_by"], version["mark"]) == (1, "Doctor-northgate Test", None)
    words = {"line": 1, "tooth_fdi": "11", "tooth_words": "upper right central incisor"}
    (item,) = version["items"]
    told = {**ITEM, **words, "layered": False, "retention": "screw", "level": "bone", "made_on": "titanium_base"}
    assert {name: item[name] for name in told} == told
    assert {name: version[name] for name in build.COMPLETE} == build.COMPLETE
    assert version["unusual"] == []


def test_what_is_unusual_is_printed_with_its_rule() -> None:
    items = [{**ITEM, "material": "zirconia_5y", "tooth": "3"}]
    draft = Program(cast.assistant()).ask("POST", "", order(items=items)).json()["draft"]
    told = [(one["rule"], one["severity"], one["field"], one["line"]) for one in draft["unusual"]]
    assert told == [("V04", "warn", "items.0.material", 1), ("V12", "warn", "items.0.material", 1)]
    assert draft["unusual"][1]["sentence"].startswith("V12: Zirconia 5Y may break on a molar.")


def test_what_is_printed_can_be_sent_back() -> None:
    assistant = Program(cast.assistant())
    piece = build.screw_crown(angle=12, retention="angled_screw", margin_facial=Decimal("-0.75"), contacts="light")
    case = build.draft_case(note="Soft.", items=[piece], allergy="yes", allergens=["nickel"], rush=True)
    draft = assistant.ask("GET", f"/{case.number}").json()["draft"]
    sent = order(**{name: draft[name] for name in draft if name in PrescriptionIn().fields})
    answer = assistant.ask("PUT", f"/{case.number}/prescription", sent)
    assert answer.status_code == 200
    assert answer.json()["draft"] == draft


def test_all_faults_of_an_order_with_their_places() -> None:
    items = [{**ITEM, "notation": "", "material": "pmma"}, {**ITEM, "tooth": "9", "shade": "N" * 21}]
    facts = {"patient_ref": "Anna", "practice": "southgate", "items": items, "allergy": ""}
    answer = Program(cast.assistant()).ask("POST", "", order(**facts))
    assert (answer.status_code, answer["Content-Type"]) == (422, "application/problem+json")
    assert [fault["pointer"] for fault in answer.json()["errors"]] == [
        *("/practice", "/patient_ref", "/items/0/tooth", "/items/1/shade", "/allergy"),
    ]
    assert not Case.objects.exists()


@pytest.mark.parametrize("body", [{}, [], {**GOOD, "items": "none"}, {**GOOD, "seat_at": "tomorrow"}, {"stage": ""}])
def test_what_cannot_be_read_is_refused(body: Any) -> None:
    answer = Program(cast.assistant()).ask("POST", "", body)
    assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")
    assert not Case.objects.exists()


def test_an_appointment_without_its_offset_is_refused() -> None:
    answer = Program(cast.assistant()).ask("POST", "", order(seat_at="2031-03-05T14:00:00"))
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (400, "/seat_at")
    assert "with its offset, such as" in answer.json()["errors"][0]["message"]
    assert not Case.objects.exists()


@pytest.mark.parametrize(
    "seat_at", ["0001-01-02T12:00:00Z", "1990-05-05T12:00:00Z", "9999-12-29T12:00:00-12:00", "9999-12-31T12:00:00Z"]
)
def test_an_appointment_ages_away_is_refused(seat_at: str) -> None:
    answer = Program(cast.assistant()).ask("POST", "", order(seat_at=seat_at))
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "/seat_at")
    assert answer.json()["errors"][0]["message"].startswith("Give an appointment between now and ")
    assert not Case.objects.exists()


@pytest.mark.parametrize("seat_at", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-12:00", "10000-01-01T12:00:00Z"])
def test_an_appointment_beyond_the_calendar_is_refused(seat_at: str) -> None:
    answer = Program(cast.assistant()).ask("POST", "", order(seat_at=seat_at))
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (400, "/seat_at")
    assert not Case.objects.exists()


def test_change_drop_and_sign_again() -> None:
    assistant, doctor = Program(cast.assistant()), Program(cast.prescriber())
    number = build.signed_case().number
    assert assistant.ask("POST", f"/{number}/amend").json()["draft"]["version"] == 2
    assert assistant.ask("POST", f"/{number}/discard").json()["draft"] is None
    assistant.ask("POST", f"/{number}/amend")
    assistant.ask("PUT", f"/{number}/prescription", order(items=[{**ITEM, "shade": "N3"}]))
    signed = doctor.ask("POST", f"/{number}/sign").json()
    assert (signed["prescription"]["version"], signed["prescription"]["items"][0]["shade"]) == (2, "N3")


def test_the_laboratory_does_not_read_what_is_not_signed() -> None:
    case = build.signed_case()
    amend(cast.assistant(), case)
    read = [
        Program(person()).ask("GET", f"/{case.number}").json()["draft"] for person in (cast.assistant, cast.manager)
    ]
    assert (read[0]["version"], read[1]) == (2, None)


def test_hold_resume_and_cancel() -> None:
    technician, manager, number = Program(cast.technician()), Program(cast.manager()), build.signed_case().number
    assert technician.ask("POST", f"/{number}/hold", {"reason": "Which shade?"}).json()["hold_reason"] == "Which shade?"
    assert technician.ask("POST", f"/{number}/resume").json()["hold_reason"] == ""
    assert manager.ask("POST", f"/{number}/cancel", {"reason": "No longer wanted"}).json()["state"] == "cancelled"


@pytest.mark.parametrize(
    ("person", "verb", "status"),
    [
        *((cast.assistant, "sign", 403), (cast.assistant, "accept", 403), (cast.assistant, "hold", 403)),
        *((cast.technician, "accept", 403), (cast.shipper, "cancel", 403), (cast.manager, "sign", 403)),
        *((cast.manager, "accept", 409), (cast.prescriber, "sign", 409), (cast.manager, "hold", 422)),
        (cast.manager, "resume", 409),
    ],
)
def test_what_a_person_may_not_do_or_not_now(person: Any, verb: str, status: int) -> None:
    case = build.accepted_case()
    answer = Program(person()).ask("POST", f"/{case.number}/{verb}", {} if verb in ("hold", "sign") else None)
    assert (answer.status_code, answer["Content-Type"]) == (status, "application/problem+json")
    assert answer.json()["errors"][0]["message"]
    assert Case.objects.get(pk=case.pk).state == "accepted"


@pytest.mark.parametrize("path", ["", "/sign", "/amend", "/discard", "/cancel", "/prescription"])
def test_a_foreign_case_is_not_there(path: str) -> None:
    case, stranger = build.signed_case(), Program(cast.prescriber("southgate"))
    method = {"": "GET", "/prescription": "PUT"}.get(path, "POST")
    assert stranger.ask(method, f"/{case.number}{path}", order() if method == "PUT" else None).status_code == 404


def test_without_sign_in_there_is_nothing() -> None:
    assert Client().get("/api/v1/cases").status_code == 401


def numbers(answer: Any) -> list[str]:
    """The numbers of the cases in an answer."""
    return [case["number"] for case in answer.json()["results"]]


def test_the_list_is_the_persons_own_newest_first() -> None:
    one, two = build.signed_case(), build.draft_case()
    build.signed_case(cast.prescriber("southgate"))
    assert numbers(Program(cast.assistant()).ask("GET", "")) == [two.number, one.number]
    assert len(numbers(Program(cast.manager()).ask("GET", ""))) == 2


def test_the_list_by_state() -> None:
    build.draft_case()
    case = build.accepted_case()
    program = Program(cast.prescriber())
    assert numbers(program.ask("GET", "?state=accepted")) == [case.number]
    answer = program.ask("GET", "?state=asleep")
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "/state")


def test_the_list_goes_page_by_page() -> None:
    cases = [build.signed_case().number for _ in range(3)]
    program = Program(cast.manager())
    first = program.ask("GET", "?limit=2")
    second = program.get(first.json()["next"])
    assert numbers(first) + numbers(second) == cases[::-1]


def test_a_list_shows_the_risk_with_its_age() -> None:
    case, now = build.signed_case(), timezone.now()
    Outlook.objects.create(case=case, late=0.25, made_at=now)
    (row,) = Program(cast.manager()).ask("GET", "").json()["results"]
    assert (row["late"], row["late_as_of"] is not None) == (0.25, True)


def test_a_list_needs_as_many_queries_for_one_case_as_for_many() -> None:
    program, counts = Program(cast.manager()), []
    for _ in range(2):
        for _ in range(3):
            build.signed_case()
        program.ask("GET", "")
        with CaptureQueriesContext(connection) as queries:
            program.ask("GET", "")
        counts.append(len(queries))
    assert counts[0] == counts[1] <= 6
