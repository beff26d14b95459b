"""Accounts: making them and switching them off."""

from typing import Any

import pytest
from django.test import Client

from labqueue.base import audit
from labqueue.base.api import issue_token
from labqueue.base.errors import Conflict
from labqueue.base.models import User
from orders.models import Member, Practice
from orders.people import add_person, renew_password, set_active, set_may_approve
from tests import cast
from tests.orders.refusals import Tables, refused

pytestmark = pytest.mark.django_db

ACCOUNTS: Tables = (User, Member)


def add(**facts: Any) -> tuple[User, str]:
    """Add a prescriber with some facts changed."""
    given = {"username": "nora", "name": "Nora van Dale", "role": "practice", "practice": cast.practice()}
    return add_person(cast.administrator(), **{**given, "may_sign": True, "licence_number": "D-77", **facts})


def test_a_prescriber() -> None:
    person, password = add()
    assert (person.shown_name, person.role, person.first_name) == ("Nora van Dale", "practice", "Nora van")
    assert (person.member.practice, person.member.may_sign) == (cast.practice(), True)
    assert person.member.licence_number == "D-77"
    assert len(password) >= 16
    answer = Client().post("/sign-in", {"username": "nora", "password": password})
    assert (answer.status_code, answer.headers["Location"]) == (302, "/")


def test_a_technician() -> None:
    person, _ = add(role="technician", practice=None, may_sign=False, licence_number="")
    assert (person.role, Member.objects.filter(user=person).exists()) == ("technician", False)


def test_passwords_differ_and_are_not_kept() -> None:
    one, two = add(username="one"), add(username="two")
    assert one[1] != two[1]
    (event,) = audit.trail(one[0])
    assert (event.verb, event.actor, event.after["licence_number"]) == ("added", cast.administrator(), "D-77")
    assert one[1] not in str(event.after)
    assert one[1] not in one[0].password


@pytest.mark.parametrize(
    ("facts", "field", "words"),
    [
        ({"username": ""}, "username", "blank"),
        ({"username": "no spaces"}, "username", "valid username"),
        ({"username": "MAGNUS"}, "username", "already somebody"),
        ({"username": "u" * 151}, "username", "150"),
        ({"name": " "}, "name", "Give the person's name"),
        ({"name": "n" * 101}, "name", "at most 100"),
        ({"role": "boss"}, "role", "Choose the role"),
        ({"practice": None}, "practice", "Choose the practice"),
        ({"role": "manager"}, "practice", "Leave it empty"),
        ({"role": "manager", "practice": None}, "may_sign", "Only people of a practice sign"),
        ({"licence_number": " "}, "licence_number", "needs a licence number"),
        ({"licence_number": "D" * 31}, "licence_number", "at most 30"),
    ],
)
def test_what_is_refused(facts: dict[str, Any], field: str, words: str) -> None:
    cast.administrator(), cast.manager(), cast.practice()
    with refused(field, words, also=ACCOUNTS):
        add(**facts)


def test_who_is_switched_off_is_out_at_once() -> None:
    person, client, token = cast.technician(), Client(), issue_token(cast.technician(), "scanner")
    client.force_login(person)
    set_active(cast.administrator(), person, False)
    assert client.get("/cases").status_code == 302
    answer = Client().get("/api/v1/cases", headers={"Authorization": f"Bearer {token}"})
    assert answer.status_code == 401


def test_who_is_switched_on_again_is_back() -> None:
    person, client = cast.technician(), Client()
    set_active(cast.administrator(), person, False)
    set_active(cast.administrator(), person, True)
    client.force_login(person)
    assert client.get("/cases").status_code == 200
    assert [event.verb for event in audit.trail(person)] == ["switched off", "switched on"]


def test_nobody_locks_himself_out() -> None:
    person = cast.administrator()
    with refused("", "your own account", Conflict, also=ACCOUNTS):
        set_active(person, person, False)


def test_a_practice_keeps_its_people() -> None:
    add()
    assert Practice.objects.get(code="northgate").members.count() == 1


def test_who_lost_the_password_gets_another() -> None:
    person, old = add()
    browser = Client()
    browser.post("/sign-in", {"username": "nora", "password": old})
    assert browser.get("/cases").status_code == 200
    new = renew_password(cast.administrator(), person)
    assert browser.get("/cases").status_code == 302
    statuses = [Client().post("/sign-in", {"username": "nora", "password": one}).status_code for one in (old, new)]
    assert statuses == [200, 302]
    event = audit.trail(person)[-1]
    assert (event.verb, event.actor, event.before, event.after) == ("password renewed", cast.administrator(), {}, {})


def test_the_own_password_is_not_given_anew() -> None:
    person = cast.administrator()
    with refused("", "Change your own password on the page", Conflict, also=ACCOUNTS):
        renew_password(person, person)


@pytest.mark.parametrize(
    ("facts", "approves"),
    [
        ({}, True),
        ({"may_sign": False, "licence_number": ""}, False),
        ({"may_sign": False, "licence_number": "", "may_approve": True}, True),
        ({"may_approve": False}, False),
    ],
)
def test_who_signs_approves_unless_something_else_is_said(facts: dict[str, Any], approves: bool) -> None:
    person, _ = add(**facts)
    assert person.member.may_approve is approves
    assert audit.trail(person)[0].after["may_approve"] is approves


def test_nobody_of_the_laboratory_approves() -> None:
    cast.administrator(), cast.practice()
    with refused("may_approve", "Only people of a practice approve designs.", also=ACCOUNTS):
        add(role="technician", practice=None, may_sign=False, licence_number="", may_approve=True)
    person, manager = cast.technician(), cast.manager()
    with refused("may_approve", "Only people of a practice approve designs.", Conflict, also=ACCOUNTS):
        set_may_approve(manager, person, True)


def test_the_administrator_changes_who_approves() -> None:
    person, _ = add()
    for may in (False, True):
        assert set_may_approve(cast.administrator(), person, may).may_approve is may
    trail = [(event.verb, event.after) for event in audit.trail(person)[-2:]]
    assert trail == [("may not approve", {"may_approve": False}), ("may approve", {"may_approve": True})]
