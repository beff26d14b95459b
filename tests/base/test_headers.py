"""The content security policy stands on every answer, whoever gives it."""

import pytest
from django.test import Client
from pytest_django import Settings

from labqueue.base.headers import POLICY

pytestmark = pytest.mark.django_db

ADDRESSES = [
    ("/health", 200),
    ("/sign-in", 200),
    ("/", 302),
    ("/nowhere", 404),
    ("/api/v1/nowhere", 404),
    ("/api/v1/schema", 200),
    ("/static/base/house.css", 200),
    ("/static/nowhere.css", 404),
]


@pytest.mark.parametrize(("address", "status"), ADDRESSES)
def test_every_answer_has_the_policy(address: str, status: int) -> None:
    answer = Client().get(address)
    assert answer.status_code == status
    assert answer["Content-Security-Policy"] == POLICY


def test_a_wrong_host_has_the_policy() -> None:
    answer = Client().get("/sign-in", headers={"Host": "elsewhere.example"})
    assert answer.status_code == 400
    assert answer["Content-Security-Policy"] == POLICY


def test_the_redirect_to_https_has_the_policy(settings: Settings) -> None:
    settings.SECURE_SSL_REDIRECT = True
    answer = Client().get("/sign-in")
    assert answer.status_code == 301
    assert answer["Content-Security-Policy"] == POLICY


@pytest.mark.urls("tests.base.urls")
def test_a_crash_has_the_policy() -> None:
    answer = Client(raise_request_exception=False).get("/api/v1/fail/crash")
    assert answer.status_code == 500
    assert answer["Content-Security-Policy"] == POLICY


def test_nothing_inline_and_nothing_from_elsewhere() -> None:
    directives = dict(directive.split(" ", 1) for directive in POLICY.split("; "))
    assert directives["default-src"] == directives["base-uri"] == directives["frame-ancestors"] == "'none'"
    sources = {source for value in directives.values() for source in value.split()}
    assert sources == {"'none'", "'self'", "data:"}
    assert [name for name, value in directives.items() if "data:" in value] == ["img-src"]


def test_pages_are_not_kept_by_caches_and_static_files_are() -> None:
    assert Client().get("/sign-in")["Cache-Control"] != ""
    assert "no-store" in Client().get("/sign-in")["Cache-Control"]
    assert Client().get("/health")["Cache-Control"] == "no-store"
    assert "no-store" not in Client().get("/static/base/house.css")["Cache-Control"]
