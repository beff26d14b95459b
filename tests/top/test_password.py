"""Changing one's own password."""

from typing import Any

import pytest
from django.test import Client

from labqueue.base import audit
from labqueue.base.models import Event, User
from tests import cast

pytestmark = pytest.mark.django_db
OLD, NEW = "tessatessa", "kiln-river-stone-42"


def browser(password: str = OLD) -> Client:
    """A browser in which the technician has signed in with that password."""
    client = Client()
    client.post("/sign-in", {"username": cast.technician().username, "password": password})
    return client


def signed_in(client: Client) -> bool:
    """Whether the browser is let in."""
    return client.get("/cases").status_code == 200


def change(client: Client, **facts: str) -> Any:
    """Send the form with some facts changed."""
    return client.post("/password", {"old_password": OLD, "new_password1": NEW, "new_password2": NEW, **facts})


def test_the_way_to_the_page_stands_on_every_page() -> None:
    client = browser()
    assert '<a class="button quiet small" href="/password">' in client.get("/cases").content.decode()
    assert client.get("/password").status_code == 200


def test_the_new_password_opens_and_the_old_one_does_not() -> None:
    client = browser()
    answer = change(client)
    assert (answer.status_code, answer.headers["Location"]) == (302, "/")
    assert "Your password is changed." in client.get("/").content.decode()
    assert (signed_in(browser(NEW)), signed_in(browser(OLD))) == (True, False)


def test_the_other_sessions_end_and_this_one_goes_on() -> None:
    here, elsewhere = browser(), browser()
    assert signed_in(elsewhere)
    change(here)
    assert (signed_in(here), signed_in(elsewhere)) == (True, False)


def test_the_trail_tells_it_without_the_password() -> None:
    change(browser())
    event = audit.trail(cast.technician())[-1]
    assert (event.verb, event.actor, event.before, event.after) == ("password changed", cast.technician(), {}, {})


@pytest.mark.parametrize(
    ("facts", "field", "words"),
    [
        ({"old_password": "wrong"}, "old_password", "entered incorrectly"),
        ({"old_password": ""}, "old_password", "required"),
        ({"new_password2": "kiln-river-stone-43"}, "new_password2", "match"),
        ({"new_password1": "short1", "new_password2": "short1"}, "new_password2", "at least 12"),
        ({"new_password1": "1q2w3e4r5t6y", "new_password2": "1q2w3e4r5t6y"}, "new_password2", "too common"),
    ],
)
def test_what_is_refused_is_said_at_its_field_and_nothing_is_written(
    facts: dict[str, str], field: str, words: str
) -> None:
    client = browser()
    before, events = cast.technician().password, Event.objects.count()
    answer = change(client, **facts)
    assert answer.status_code == 422
    assert any(words in message for message in answer.context["form"].errors[field])
    assert (User.objects.get(username="tessa").password, Event.objects.count()) == (before, events)


def test_nobody_changes_it_without_signing_in() -> None:
    answer = change(Client())
    assert (answer.status_code, answer.headers["Location"].split("?")[0]) == (302, "/sign-in")
