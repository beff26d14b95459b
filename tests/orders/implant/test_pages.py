"""The implant on the page of its case, and for programs."""

import re
from typing import Any

import pytest
from django.test import Client

from labqueue.base.models import User
from orders.models import Case, Confirmation
from tests import cast
from tests.orders import build
from tests.orders.test_api import Program

pytestmark = pytest.mark.django_db

SENT = {
    "piece": "11-abutment",
    "1-system": "Averin C",
    "1-connection": "conical",
    "1-platform": "4.3",
    "1-level": "bone",
    "1-source": "both",
}


def browser(user: User) -> Client:
    """Somebody at a browser."""
    client = Client()
    client.force_login(user)
    return client


def part(user: User, case: Case, **headers: str) -> str:
    """The part of the case's page."""
    return (
        browser(user).get(f"/cases/{case.number}/implant", headers={"HX-Request": "true", **headers}).content.decode()
    )


def test_a_second_person_reads_again_into_empty_fields() -> None:
    case = build.accepted_case()
    shown = part(cast.technician(), case)
    assert "Confirm what I read" in shown
    assert re.search(r'name="1-system"[^>]*value=', shown) is None
    assert not {"Averin C", "4.3"} & set(re.findall(r">([^<]+)<", shown))


@pytest.mark.parametrize("reader", [cast.manager, cast.prescriber, cast.shipper])
def test_nobody_else_is_offered_a_form(reader: Any) -> None:
    shown = part(reader(), build.accepted_case())
    assert "Not confirmed yet." in shown
    assert "<form" not in shown


def test_who_accepted_is_told_why() -> None:
    assert "You accepted the case, so somebody else reads again." in part(cast.manager(), build.accepted_case())


def test_a_confirmation_is_sent_and_shown() -> None:
    case, technician = build.accepted_case(), browser(cast.technician())
    answer = technician.post(f"/cases/{case.number}/implant", SENT, follow=True)
    assert "The implant is confirmed." in answer.content.decode()
    assert "Confirmed by Tessa Test on" in part(cast.manager(), case)
    assert "Confirmed by the laboratory on" in part(cast.prescriber(), case)
    assert "Tessa" not in part(cast.prescriber(), case)


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({"1-platform": "4.8"}, "V06: The platform was read as “4.8 mm”"),
        ({"1-platform": "wide"}, "Enter a number"),
        ({"1-source": ""}, "This field is required"),
    ],
)
def test_what_was_read_otherwise_is_shown_at_its_field(sent: dict[str, str], words: str) -> None:
    case = build.accepted_case()
    answer = browser(cast.technician()).post(f"/cases/{case.number}/implant", {**SENT, **sent})
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not Confirmation.objects.exists()


@pytest.mark.parametrize("piece", ["", "11", "11-crown", "99-abutment", "x-abutment", "²-abutment"])
def test_a_piece_that_is_not_there(piece: str) -> None:
    case = build.accepted_case()
    assert browser(cast.technician()).post(f"/cases/{case.number}/implant", {**SENT, "piece": piece}).status_code == 422
    assert not Confirmation.objects.exists()


def test_without_script_it_is_a_page() -> None:
    case, crown = build.accepted_case(), build.accepted_case(items=[build.crown()])
    technician = browser(cast.technician())
    assert "To the case" in technician.get(f"/cases/{case.number}/implant").content.decode()
    assert (
        "No piece of this case meets an implant." in technician.get(f"/cases/{crown.number}/implant").content.decode()
    )
    assert part(cast.technician(), crown).strip() == ""


@pytest.mark.parametrize("who", [cast.prescriber, cast.shipper])
def test_only_the_floor_confirms(who: Any) -> None:
    case = build.accepted_case()
    assert browser(who()).post(f"/cases/{case.number}/implant", SENT).status_code == 403
    assert not Confirmation.objects.exists()


def test_a_foreign_practice_finds_nothing() -> None:
    case = build.accepted_case()
    assert browser(cast.prescriber("southgate")).get(f"/cases/{case.number}/implant").status_code == 404
    assert Program(cast.prescriber("southgate")).ask("GET", f"/{case.number}/implant").status_code == 404


def test_a_program_reads_and_confirms() -> None:
    case, technician = build.accepted_case(), Program(cast.technician())
    (piece,) = technician.ask("GET", f"/{case.number}/implant").json()
    assert (piece["line"], piece["tooth_fdi"], piece["confirmed_at"], piece["confirmed_by"]) == (1, "11", None, "")
    body: dict[str, Any] = {"tooth": "8", "notation": "universal", "kind": "abutment", "read_off": "scan_body"}
    body |= {"platform": "4.3"} | {name: build.IMPLANT[name] for name in ("system", "connection", "level")}
    wrong = technician.ask("POST", f"/{case.number}/implant", {**body, "platform": "4.8"})
    assert (wrong.status_code, wrong.json()["errors"][0]["code"]) == (422, "V06")
    answer = technician.ask("POST", f"/{case.number}/implant", body)
    assert answer.status_code == 201
    assert (answer.json()[0]["confirmed_by"], answer.json()[0]["read_off"]) == ("Tessa Test", "scan_body")
    (seen,) = Program(cast.prescriber()).ask("GET", f"/{case.number}/implant").json()
    assert seen["confirmed_by"] == "the laboratory"
