"""A person's own access keys: made, shown once, revoked."""

import re
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.api import issue_token
from labqueue.base.models import ApiToken, Event, User
from labqueue.base.roles import Role
from tests import cast

pytestmark = pytest.mark.django_db
EVERYBODY = [cast.prescriber, cast.assistant, cast.technician, cast.manager, cast.shipper, cast.administrator]


def client(user: User) -> Client:
    """A browser in which that person is signed in."""
    found = Client()
    found.force_login(user)
    return found


def key_on(answer: Any) -> str:
    """The key that the page shows; empty where it shows none."""
    found = re.search(r"lq_[\w-]{43}", answer.content.decode())
    return found[0] if found else ""


def make(user: User, name: str = "Practice program") -> str:
    """A key made on the page."""
    return key_on(client(user).post("/keys", {"name": name}))


def status_with(key: str) -> int:
    """What the interface answers to the key."""
    return Client().get("/api/v1/cases", headers={"Authorization": f"Bearer {key}"}).status_code


@pytest.mark.parametrize("person", EVERYBODY)
def test_everybody_makes_a_key_that_opens_the_interface(person: Any) -> None:
    assert status_with(make(person())) == 200


def test_a_key_is_shown_once_and_is_kept_by_its_digest_alone() -> None:
    user = cast.prescriber()
    browser = client(user)
    first = browser.post("/keys", {"name": "Practice program"})
    key = key_on(first)
    assert first["Cache-Control"] == "no-store"
    again = browser.get("/keys")
    assert "Practice program" in again.content.decode()
    assert key_on(again) == ""
    assert key not in str(ApiToken.objects.values())
    assert key not in str(list(Event.objects.values()))


def test_a_key_is_its_owners_role_and_no_more() -> None:
    key = make(cast.technician())
    answer = Client().post("/api/v1/cases", {}, "application/json", headers={"Authorization": f"Bearer {key}"})
    assert answer.status_code == 403


def test_making_and_revoking_are_told_in_the_trail_of_the_person() -> None:
    user = cast.manager()
    make(user, "  Wall   display ")
    token = ApiToken.objects.get()
    client(user).post(f"/keys/{token.pk}/revoke")
    made, revoked = audit.trail(user)
    assert (made.verb, made.actor, made.after["name"]) == ("issue token", user, "Wall display")
    assert (revoked.verb, revoked.actor, revoked.after["token"]) == ("revoke token", user, token.pk)
    assert audit.verify(made.chain) is None


def test_a_key_ends_after_a_year() -> None:
    make(cast.manager())
    left = ApiToken.objects.get().expires_at
    assert left is not None
    assert timedelta(days=364) < left - timezone.now() <= timedelta(days=365)


@pytest.mark.parametrize("name", ["", "   ", "x" * 81])
def test_a_key_without_a_fitting_name_is_refused_and_nothing_is_written(name: str) -> None:
    user = cast.prescriber()
    answer = client(user).post("/keys", {"name": name})
    assert answer.status_code == 422
    assert 'href="#id_name"' in answer.content.decode()
    assert not ApiToken.objects.exists()
    assert audit.trail(user) == []


def test_a_name_of_eighty_letters_is_taken_without_its_outer_spaces() -> None:
    assert make(cast.prescriber(), f"  {'é' * 80}  ")
    assert ApiToken.objects.get().name == "é" * 80


def test_two_live_keys_of_one_name_are_refused_and_the_first_stays() -> None:
    user = cast.prescriber()
    key = make(user)
    answer = client(user).post("/keys", {"name": "Practice program"})
    assert answer.status_code == 422
    assert "You have a key of this name" in answer.content.decode()
    assert (ApiToken.objects.count(), status_with(key)) == (1, 200)
    assert make(cast.manager()) != ""


def test_a_name_is_free_again_once_its_key_is_revoked() -> None:
    user = cast.prescriber()
    make(user)
    client(user).post(f"/keys/{ApiToken.objects.get().pk}/revoke")
    assert make(user) != ""


def test_a_revoked_key_opens_nothing_at_once_and_is_not_listed() -> None:
    user = cast.prescriber()
    key, other = make(user), make(user, "Another")
    token = ApiToken.objects.get(name="Practice program")
    page = client(user).post(f"/keys/{token.pk}/revoke", follow=True)
    assert page.redirect_chain == [("/keys", 302)]
    assert "The key Practice program opens nothing any more." in page.content.decode()
    assert f"/keys/{token.pk}/revoke" not in page.content.decode()
    assert (status_with(key), status_with(other)) == (401, 200)


def test_nobody_revokes_the_key_of_another_not_even_of_the_same_practice() -> None:
    key = make(cast.prescriber())
    token = ApiToken.objects.get()
    for person in (cast.assistant(), cast.prescriber("millpond"), cast.administrator()):
        assert client(person).post(f"/keys/{token.pk}/revoke").status_code == 404
    assert status_with(key) == 200
    assert audit.trail(token.user)[-1].verb == "issue token"


def test_a_key_is_revoked_once() -> None:
    user = cast.prescriber()
    make(user)
    token = ApiToken.objects.get()
    browser = client(user)
    assert [browser.post(f"/keys/{token.pk}/revoke").status_code for _ in range(2)] == [302, 404]
    assert [event.verb for event in audit.trail(user)] == ["issue token", "revoke token"]


def test_a_key_is_not_revoked_by_a_link() -> None:
    user = cast.prescriber()
    key = make(user)
    assert client(user).get(f"/keys/{ApiToken.objects.get().pk}/revoke").status_code == 405
    assert status_with(key) == 200


def test_the_list_shows_the_own_keys_the_latest_first() -> None:
    user = cast.prescriber()
    for owner, name in ((user, "First"), (cast.assistant(), "Foreign"), (user, "Second")):
        issue_token(owner, name)
    html = client(user).get("/keys").content.decode()
    assert re.findall(r'data-label="Name">(\w+)', html) == ["Second", "First"]


def test_without_a_key_the_page_says_so() -> None:
    html = client(cast.user("nobody", Role.ADMIN)).get("/keys").content.decode()
    assert "No keys yet" in html
    assert "<table" not in html


def test_the_list_costs_the_same_however_many_keys(django_assert_num_queries: Any) -> None:
    user = cast.prescriber()
    browser = client(user)
    for count in (1, 20):
        for number in range(count):
            issue_token(user, f"Key {count} {number}")
        with django_assert_num_queries(3):
            browser.get("/keys")
