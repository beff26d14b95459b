"""The administrator's pages of people."""

import re

import pytest
from django.test import Client

from labqueue.base.models import User
from tests import cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def admin(client: Client) -> Client:
    """A browser of the administrator."""
    client.force_login(cast.administrator())
    return client


def sent(**facts: str) -> dict[str, str]:
    """What the form sends for a prescriber."""
    practice = str(cast.practice().pk)
    given = {"username": "nora", "name": "Nora Dale", "role": "practice", "practice": practice, "may_sign": "on"}
    return {**given, "licence_number": "D-77", **facts}


def test_everybody_is_listed(admin: Client) -> None:
    cast.prescriber()
    text = admin.get("/people").content.decode()
    assert "doctor-northgate" in text
    assert "licence D-1001" in text


def test_a_new_person_gets_a_password_that_works_and_is_shown_once(admin: Client) -> None:
    answer = admin.post("/people", sent())
    found = re.search(r'password <span class="code">([^<]+)</span>', answer.content.decode())
    assert found is not None
    assert answer.headers["Cache-Control"] == "no-store"
    signed_in = Client().post("/sign-in", {"username": "nora", "password": found.group(1)})
    assert (signed_in.status_code, signed_in.headers["Location"]) == (302, "/")
    assert found.group(1) not in admin.get("/people").content.decode()


def test_a_fault_is_shown_at_its_field_and_nobody_is_added(admin: Client) -> None:
    answer = admin.post("/people", sent(licence_number=""))
    assert answer.status_code == 422
    assert answer.context["form"].errors == {"licence_number": ["Who signs needs a licence number."]}
    assert not User.objects.filter(username="nora").exists()


def test_an_account_is_switched_off_and_on(admin: Client) -> None:
    person = cast.technician()
    for word, active in (("no", False), ("yes", True)):
        answer = admin.post(f"/people/{person.pk}", {"active": word}, follow=True)
        person.refresh_from_db()
        assert (answer.status_code, person.is_active) == (200, active)
    assert "Switched on" in answer.content.decode()


def test_a_new_password_works_and_is_shown_once(admin: Client) -> None:
    person = cast.technician()
    answer = admin.post(f"/people/{person.pk}", {})
    found = re.search(r'password <span class="code">([^<]+)</span>', answer.content.decode())
    assert found is not None
    assert answer.headers["Cache-Control"] == "no-store"
    signed_in = Client().post("/sign-in", {"username": person.username, "password": found.group(1)})
    assert signed_in.status_code == 302
    assert found.group(1) not in admin.get(f"/people/{person.pk}").content.decode()


def test_the_own_page_offers_no_new_password(admin: Client) -> None:
    own = cast.administrator()
    assert "Give a new password" not in admin.get(f"/people/{own.pk}").content.decode()
    before = own.password
    assert admin.post(f"/people/{own.pk}", {}).status_code == 409
    own.refresh_from_db()
    assert own.password == before


def test_the_own_account_stays_on(admin: Client) -> None:
    own = cast.administrator()
    answer = admin.post(f"/people/{own.pk}", {"active": "no"})
    own.refresh_from_db()
    assert (answer.status_code, own.is_active) == (409, True)


def test_an_unknown_person_is_not_found(admin: Client) -> None:
    assert admin.get("/people/999999").status_code == 404


def test_somebody_may_approve_and_no_longer(admin: Client) -> None:
    admin.post("/people", sent(may_sign="", licence_number="", may_approve="on"))
    person = User.objects.get(username="nora")
    assert person.member.may_approve
    for word, may in (("no", False), ("yes", True)):
        answer = admin.post(f"/people/{person.pk}", {"approves": word}, follow=True)
        person.member.refresh_from_db()
        assert (answer.status_code, person.member.may_approve) == (200, may)
    assert "Approves designs no longer" in answer.content.decode()
