"""Problem details: one shape for all that goes wrong under /api/."""

import json
from typing import Any

import pytest
from django.test import Client

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.base.urls")]


@pytest.fixture
def client() -> Client:
    """A client that sees a crash as others do."""
    return Client(raise_request_exception=False)


def problem(answer: Any, status: int) -> dict[str, Any]:
    """The problem in the answer, once its frame is right."""
    assert answer.status_code == status
    assert answer["Content-Type"] == "application/problem+json"
    document: dict[str, Any] = json.loads(answer.content)
    assert set(document) == {"type", "title", "status", "detail", "errors"}
    assert document["status"] == status
    assert document["type"] == f"urn:labqueue:problem:{document['title'].lower().replace(' ', '-')}"
    assert document["detail"]
    for error in document["errors"]:
        assert set(error) == {"pointer", "code", "message"}
        assert error["message"]
    return document


def post(client: Client, order: object) -> Any:
    """Send an order."""
    return client.post("/api/v1/orders", json.dumps(order), content_type="application/json")


def pointers(document: dict[str, Any]) -> dict[str, str]:
    """Pointer to code of each fault."""
    return {error["pointer"]: error["code"] for error in document["errors"]}


def test_what_is_right_is_no_problem(client: Client) -> None:
    assert post(client, {"reference": "A-1", "items": [{"tooth": 3}]}).status_code == 201


def test_a_refusal_names_each_field(client: Client) -> None:
    document = problem(client.get("/api/v1/fail/refusal"), 422)
    assert document == {
        "type": "urn:labqueue:problem:refused",
        "title": "Refused",
        "status": 422,
        "detail": "Give a tooth. Give a shade.",
        "errors": [
            {"pointer": "/items/0/tooth", "code": "tooth", "message": "Give a tooth."},
            {"pointer": "/shade", "code": "shade", "message": "Give a shade."},
        ],
    }


@pytest.mark.parametrize(
    ("name", "status", "title", "detail"),
    [
        ("not-found", 404, "Not found", "There is no case 7."),
        ("http404", 404, "Not found", "No Case matches the given query."),
        ("forbidden", 403, "Not allowed", "Ask the manager."),
        ("conflict", 409, "Not possible now", "It is closed."),
    ],
)
def test_each_kind_has_its_status_and_one_title(
    client: Client, name: str, status: int, title: str, detail: str
) -> None:
    document = problem(client.get(f"/api/v1/fail/{name}"), status)
    assert (document["title"], document["detail"]) == (title, detail)
    assert [error["pointer"] for error in document["errors"]] == [""]


def test_who_asks_too_often_is_told_when_to_come_back(client: Client) -> None:
    answer = client.get("/api/v1/fail/throttled")
    assert problem(answer, 429)["errors"][0]["code"] == "throttled"
    assert answer["Retry-After"] == "17"


def test_errors_of_parts_outside_of_the_input(client: Client) -> None:
    assert pointers(problem(client.get("/api/v1/fail/detail-of-parts"), 500)) == {"/part": "error"}


@pytest.mark.parametrize(
    ("order", "expected"),
    [
        ({}, {"/reference": "required", "/items": "required"}),
        ({"reference": "A", "items": []}, {}),
        ({"reference": "A", "items": {}}, {"/items": "not_a_list"}),
        ({"reference": "A" * 11, "items": []}, {"/reference": "max_length"}),
        ({"reference": "A", "items": [{"tooth": 3}, {"tooth": 0}]}, {"/items/1/tooth": "min_value"}),
        (
            {"reference": "A", "items": [{}, {"tooth": "x"}]},
            {"/items/0/tooth": "required", "/items/1/tooth": "invalid"},
        ),
        ({"reference": "A", "items": ["x"]}, {"/items/0": "invalid"}),
        ({"reference": "A", "items": [{"tooth": 1, "notes": ["ok", "long"]}]}, {"/items/0/notes/1": "max_length"}),
        ({"reference": "wrong", "items": []}, {"": "whole"}),
        ({"reference": "A", "items": [], "detail": "x"}, {"/detail": "invalid"}),
        ([], {"": "invalid"}),
    ],
)
def test_each_wrong_field_of_a_nested_input_has_its_pointer(
    client: Client, order: object, expected: dict[str, str]
) -> None:
    answer = post(client, order)
    if expected:
        assert pointers(problem(answer, 400)) == expected
    else:
        assert answer.status_code == 201


def test_what_is_no_json_is_a_problem(client: Client) -> None:
    answer = client.post("/api/v1/orders", "{", content_type="application/json")
    assert pointers(problem(answer, 400)) == {"": "parse_error"}


def test_another_media_type_is_a_problem(client: Client) -> None:
    assert pointers(problem(client.post("/api/v1/orders", "a", content_type="text/plain"), 415)) == {
        "": "unsupported_media_type"
    }


def test_another_method_is_a_problem_that_tells_the_right_ones(client: Client) -> None:
    answer = client.delete("/api/v1/orders")
    assert pointers(problem(answer, 405)) == {"": "method_not_allowed"}
    assert "POST" in answer["Allow"]


def test_an_unknown_address_is_a_problem(client: Client) -> None:
    document = problem(client.get("/api/v1/nowhere"), 404)
    assert document["title"] == "Not found"


def test_a_crash_is_a_problem_that_shows_nothing_of_the_inside(client: Client) -> None:
    answer = client.get("/api/v1/fail/crash")
    problem(answer, 500)
    assert "inside of the house" not in answer.content.decode()
    assert "Traceback" not in answer.content.decode()
