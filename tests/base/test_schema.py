"""The description of the interface: complete, without a warning, with its refusals and its ways to sign in."""

import io
from typing import Any

import pytest
import yaml
from django.core.management import call_command

from labqueue.base.schema import REFUSALS

pytestmark = pytest.mark.urls("tests.base.urls")


@pytest.fixture
def document(capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    """The description of the tests' own interface."""
    text = io.StringIO()
    call_command("spectacular", "--validate", stdout=text)
    read: dict[str, Any] = yaml.safe_load(text.getvalue())
    return read


def operations(document: dict[str, Any]) -> list[dict[str, Any]]:
    """All operations."""
    return [operation for path in document["paths"].values() for operation in path.values()]


def test_it_is_openapi_3_1(document: dict[str, Any]) -> None:
    assert document["openapi"].startswith("3.1")
    assert set(document["paths"]) >= {"/api/v1/me", "/api/v1/orders", "/api/v1/days"}


def test_every_operation_has_every_refusal_as_a_problem(document: dict[str, Any]) -> None:
    assert operations(document)
    for operation in operations(document):
        for status in REFUSALS:
            content = operation["responses"][status]["content"]
            assert content == {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}}
    assert set(document["components"]["schemas"]["Problem"]["required"]) == {
        *("type", "title", "status", "detail", "errors")
    }


def test_both_ways_to_sign_in_are_described(document: dict[str, Any]) -> None:
    schemes = document["components"]["securitySchemes"]
    assert schemes["bearer"] == {"type": "http", "scheme": "bearer"}
    assert schemes["cookieAuth"]["in"] == "cookie"
    assert {"bearer": []} in document["paths"]["/api/v1/me"]["get"]["security"]


def test_operations_are_grouped_by_their_resource(document: dict[str, Any]) -> None:
    assert document["paths"]["/api/v1/days"]["get"]["tags"] == ["days"]
    assert document["paths"]["/api/v1/fail/{name}"]["get"]["tags"] == ["fail"]


@pytest.mark.urls("labqueue.urls")
def test_the_real_interface_is_described_without_a_warning() -> None:
    call_command("spectacular", "--validate", "--fail-on-warn", stdout=io.StringIO())
