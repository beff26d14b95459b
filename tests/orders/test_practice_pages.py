"""The pages of practices."""

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from labqueue.base import audit
from orders.models import Practice
from tests import cast
from tests.orders import build

pytestmark = pytest.mark.django_db
LAW = {"parts": "laboratory", "pack": "union"}


@pytest.fixture
def admin(client: Client) -> Client:
    """A browser of the administrator."""
    client.force_login(cast.administrator())
    return client


def sent(**facts: Any) -> dict[str, Any]:
    """What the form sends for a practice; None leaves a field out."""
    given = {"name": "Westbrook Dental", "address": "9 West Lane", "phone": "555 0199", "notation": "palmer"}
    way = {"weekdays": ["0", "2", "4"], "transit_days": "2", "time_zone": "Europe/Lisbon", **LAW}
    return {name: value for name, value in {**given, **way, **facts}.items() if value is not None}


def text(answer: Any) -> str:
    """The page, with every run of white space as one space."""
    return " ".join(answer.content.decode().split())


def test_practices_are_listed_with_their_open_cases(admin: Client) -> None:
    build.signed_case()
    build.signed_case()
    build.draft_case()
    (practice,) = admin.get("/practices").context["practices"]
    assert (practice.open_cases, practice.people) == (2, 2)


def test_without_practices_the_page_says_so(admin: Client) -> None:
    assert "No practices yet" in text(admin.get("/practices"))


def test_the_list_needs_as_many_queries_for_one_practice_as_for_many(admin: Client) -> None:
    counts = []
    for code in ("northgate", "southgate"):
        cast.prescriber(code)
        with CaptureQueriesContext(connection) as queries:
            admin.get("/practices")
        counts.append(len(queries))
    assert counts[0] == counts[1] <= 6


def test_a_practice_is_added(admin: Client) -> None:
    answer = admin.post("/practices", sent(code="westbrook"), follow=True)
    practice = Practice.objects.get()
    assert answer.redirect_chain == [("/practices/westbrook", 302)]
    assert (practice.code, practice.weekdays, practice.transit_days) == ("westbrook", "024", 2)
    assert "Westbrook Dental is added." in text(answer)


def test_an_empty_form_offers_the_laboratorys_zone_and_week(admin: Client) -> None:
    form = admin.get("/practices").context["form"]
    assert (form["time_zone"].value(), form["weekdays"].value()) == ("America/New_York", list("01234"))
    assert next(iter(form.fields)) == "code"


@pytest.mark.parametrize(
    ("facts", "field", "words"),
    [
        ({"code": "West Brook"}, "code", "small letters"),
        ({"code": "northgate"}, "code", "already a practice"),
        ({"code": ""}, "code", "required"),
        ({"name": " "}, "name", "required"),
        ({"weekdays": None}, "weekdays", "at least one weekday"),
        ({"weekdays": ["7"]}, "weekdays", "not one of the available choices"),
        ({"transit_days": "11"}, "transit_days", "from 0 to 10"),
        ({"transit_days": "some"}, "transit_days", "whole number"),
        ({"time_zone": "Europe/Nowhere"}, "time_zone", "is no time zone"),
        ({"notation": "roman"}, "notation", "not one of the available choices"),
    ],
)
def test_a_fault_is_shown_at_its_field_and_nothing_is_added(
    admin: Client, facts: dict[str, Any], field: str, words: str
) -> None:
    cast.practice("northgate")
    answer = admin.post("/practices", sent(**{"code": "westbrook", **facts}))
    assert answer.status_code == 422
    assert any(words in message for message in answer.context["form"].errors[field])
    assert Practice.objects.count() == 1


def test_the_facts_are_shown_and_changed(admin: Client) -> None:
    cast.practice(weekdays="0134")
    form = admin.get("/practices/northgate").context["form"]
    assert (form["weekdays"].value(), form["phone"].value()) == (["0", "1", "3", "4"], "555 0100")
    page = text(admin.post("/practices/northgate", sent(name="Northgate Dental", notation="universal"), follow=True))
    assert "Northgate Dental is changed." in page
    assert "takes deliveries on Mon, Tue, Thu, Fri → Mon, Wed, Fri" in page
    assert "telephone 555 0100 → 555 0199" in page
    assert Practice.objects.values_list("phone", "weekdays").get() == ("555 0199", "024")


def test_the_code_of_a_practice_is_not_changed(admin: Client) -> None:
    cast.practice()
    assert "code" not in admin.get("/practices/northgate").context["form"].fields
    admin.post("/practices/northgate", sent(code="southgate"))
    assert Practice.objects.values_list("code", "name").get() == ("northgate", "Westbrook Dental")


def test_saving_the_same_says_that_nothing_was_changed(admin: Client) -> None:
    practice = cast.practice()
    same = sent(name=practice.name, address=practice.address, phone=practice.phone, notation="universal")
    same |= {"weekdays": list("01234"), "transit_days": "1", "time_zone": practice.time_zone, **LAW}
    page = text(admin.post("/practices/northgate", same, follow=True))
    assert "Nothing was changed." in page
    assert audit.trail(practice) == []


@pytest.mark.parametrize(("field", "value"), [("name", ""), ("transit_days", "-1"), ("time_zone", "Moon/Sea")])
def test_a_refused_change_leaves_the_practice_as_it_was(admin: Client, field: str, value: str) -> None:
    cast.practice()
    before = Practice.objects.values().get()
    answer = admin.post("/practices/northgate", sent(**{field: value}))
    assert (answer.status_code, list(answer.context["form"].errors)) == (422, [field])
    assert Practice.objects.values().get() == before


def test_an_unknown_practice_is_not_found(admin: Client) -> None:
    assert admin.get("/practices/nowhere").status_code == 404


def test_the_manager_reads_but_does_not_write(client: Client) -> None:
    cast.practice()
    client.force_login(cast.manager())
    page = text(client.get("/practices"))
    assert "Northgate Dental" in page
    assert "/practices/northgate" not in page
    assert "Add a practice" not in page
    assert client.post("/practices", sent(code="westbrook")).status_code == 403
    assert client.post("/practices/northgate", sent()).status_code == 403
    assert Practice.objects.values_list("name").get() == ("Northgate Dental",)


def test_the_law_of_its_place_and_what_its_orders_say_by_themselves(admin: Client) -> None:
    practice = cast.practice()
    facts = {"name": practice.name, "address": practice.address, "phone": practice.phone, "notation": "universal"}
    way = {"weekdays": list("01234"), "transit_days": "1", "time_zone": practice.time_zone}
    law = {"wants_approval": "on", "parts": "practice", "pack": "eu"}
    answer = admin.post("/practices/northgate", {**facts, **way, **law}, follow=True)
    practice.refresh_from_db()
    assert (practice.wants_approval, practice.parts, practice.pack) == (True, "practice", "eu")
    assert "law of its place All of them together → European Union" in text(answer)
    assert "wants to see designs before they are milled no → yes" in text(answer)
