"""Characters that the database cannot keep: refused at the door with 400, on pages and in the interface."""

import json
from typing import Any

import pytest
from django.test import Client

from labqueue.base.api import issue_token
from labqueue.base.models import ApiToken, Event
from tests import cast
from tests.orders.build import signed_case

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager() -> Client:
    """A browser in which the manager is signed in; errors come back as the page that people see."""
    client = Client(raise_request_exception=False)
    client.force_login(cast.manager())
    return client


def send(path: str, body: bytes) -> tuple[int, dict[str, Any]]:
    """Status and document of a program's POST."""
    key = issue_token(cast.manager(), "reader")
    events = Event.objects.count()
    client = Client(raise_request_exception=False, headers={"Authorization": f"Bearer {key}"})
    answer = client.post(f"/api/v1{path}", body, content_type="application/json")
    assert answer["Content-Type"] == "application/problem+json"
    assert Event.objects.count() == events
    return answer.status_code, answer.json()


def test_every_other_character_is_text(manager: Client) -> None:
    assert manager.post("/keys", {"name": "Brücke 歯 🦷"}).status_code == 200
    assert ApiToken.objects.get().name == "Brücke 歯 🦷"


@pytest.mark.parametrize("address", ["/cases/%00", "/cases?number=%00", "/cases?%00=1", "/cases?number=1&number=%00"])
def test_no_nul_in_an_address(manager: Client, address: str) -> None:
    answer = manager.get(address)
    assert answer.status_code == 400
    assert "a character that is no text" in answer.content.decode()
    assert "\0" not in answer.content.decode()


def test_nobody_is_told_the_same(manager: Client) -> None:
    assert Client(raise_request_exception=False).get("/sign-in?next=%00").status_code == 400


def test_no_nul_in_a_form_and_nothing_was_written(manager: Client) -> None:
    case = signed_case()
    events = Event.objects.count()
    for address, form in [
        ("/keys", {"name": "a\0b"}),
        ("/cases", {"patient_ref": "A\0"}),
        (f"/cases/{case.number}/hold", {"reason": "a\0b"}),
    ]:
        answer = manager.post(address, form)
        assert (address, answer.status_code) == (address, 400)
    assert Event.objects.count() == events
    assert not ApiToken.objects.exists()


def test_a_fragment_is_refused_as_a_fragment(manager: Client) -> None:
    answer = manager.post("/keys", {"name": "\0"}, headers={"HX-Request": "true"})
    assert (answer.status_code, answer["HX-Retarget"]) == (400, "#notice")
    assert "<html" not in answer.content.decode()


@pytest.mark.parametrize("path", ["/cases/%00/hold", "/cases/1/hold?x=%00"])
def test_no_nul_in_an_address_of_the_interface(path: str) -> None:
    status, problem = send(path, b"{}")
    assert status == 400
    assert problem["errors"][0]["code"] == "characters"


@pytest.mark.parametrize(
    ("body", "pointers"),
    [
        ({"reason": "a\0b"}, ["/reason"]),
        ({"reason": "a\ud800b"}, ["/reason"]),
        ({"a": [{"b": "\0"}, "\0"], "c": "fine"}, ["/a/0/b", "/a/1"]),
        ({"\0": 1}, [""]),
        ("\0", [""]),
    ],
)
def test_no_such_character_in_json(body: Any, pointers: list[str]) -> None:
    status, problem = send(f"/cases/{signed_case().number}/hold", json.dumps(body).encode())
    assert (status, problem["title"]) == (400, "Bad Request")
    assert [error["pointer"] for error in problem["errors"]] == pointers


def test_json_without_bottom_is_refused() -> None:
    status, problem = send(f"/cases/{signed_case().number}/hold", b"[" * 100_000)
    assert status == 400
    assert "nested too deeply" in problem["detail"]
