"""The description of the interface: what is served is what is committed, and it is what the addresses are."""

from pathlib import Path
from typing import Any

import pytest
import yaml
from django.core.management import call_command
from django.test import Client
from django.urls import URLResolver, get_resolver

from labqueue.access import PUBLIC

COMMITTED = Path(__file__).resolve().parent.parent / "labqueue" / "openapi.yaml"
VERBS = {"get", "post", "put", "patch", "delete"}


def resolver() -> URLResolver:
    """The addresses of the interface."""
    found = [one for one in get_resolver().url_patterns if isinstance(one, URLResolver) and one.namespace == "api"]
    assert len(found) == 1
    return found[0]


def served() -> dict[str, Any]:
    """The description as a program gets it."""
    response = Client().get("/api/v1/schema", headers={"accept": "application/vnd.oai.openapi"})
    assert response.status_code == 200
    document: dict[str, Any] = yaml.safe_load(response.content)
    return document


@pytest.mark.django_db
def test_what_is_served_is_what_is_committed() -> None:
    """A change of the interface is a change of the file: see DEVELOPERS.md for the command."""
    assert served() == yaml.safe_load(COMMITTED.read_text())


def test_it_is_openapi_3_1_and_generates_without_a_warning(tmp_path: Path) -> None:
    """Validated against the specification by the generator itself."""
    call_command("spectacular", file=str(tmp_path / "openapi.yaml"), validate=True, fail_on_warn=True)
    assert yaml.safe_load((tmp_path / "openapi.yaml").read_text())["openapi"].startswith("3.1")


def test_every_address_of_the_interface_is_described() -> None:
    """And nothing else."""
    names = {str(name) for name in resolver().reverse_dict if isinstance(name, str) and f"api:{name}" not in PUBLIC}
    described = yaml.safe_load(COMMITTED.read_text())["paths"]
    assert len(described) == len(names)


def test_every_operation_says_how_it_refuses_and_who_may_ask() -> None:
    """Problem details for 401, 403, 404, 409 and 422, and both ways to sign in."""
    document = yaml.safe_load(COMMITTED.read_text())
    wrong = [
        (path, verb)
        for path, operations in document["paths"].items()
        for verb, operation in operations.items()
        if verb in VERBS
        and not (
            {"401", "403", "404", "409", "422"} <= set(operation["responses"])
            and all("application/problem+json" in operation["responses"][s]["content"] for s in ("404", "409", "422"))
            and operation.get("security")
        )
    ]
    assert wrong == []
