"""Behind one proxy a client is known by the address that the proxy saw, whatever the client claims."""

import pytest
from django.http import HttpRequest, HttpResponse
from django.test import Client, RequestFactory
from pytest_django import Settings

from labqueue.base.proxy import BehindProxy
from tests import cast

OWNER, STRANGER = "198.51.100.7", "203.0.113.9"


def seen(**headers: str) -> str:
    """The address that the rest of the service sees."""

    def answer(request: HttpRequest) -> HttpResponse:
        return HttpResponse(request.META["REMOTE_ADDR"])

    return BehindProxy(answer)(RequestFactory(REMOTE_ADDR="10.0.0.1").get("/", headers=headers)).content.decode()


@pytest.mark.parametrize(
    ("forwarded", "address"),
    [
        (STRANGER, STRANGER),
        (f"{OWNER}, {STRANGER}", STRANGER),
        (f"{OWNER},nonsense, {STRANGER} ", STRANGER),
        ("2001:db8::7", "2001:db8::7"),
        ("", "10.0.0.1"),
        (f"{OWNER}, nonsense", "10.0.0.1"),
        (f"{OWNER}, ", "10.0.0.1"),
    ],
)
def test_only_the_last_address_counts(forwarded: str, address: str) -> None:
    assert seen(**{"X-Forwarded-For": forwarded}) == address


def test_without_the_header_the_connection_counts() -> None:
    assert seen() == "10.0.0.1"


def sign_in(forwarded: str, password: str) -> int:
    """The status of a sign-in to the manager's account that came through the proxy."""
    form = {"username": "magnus", "password": password}
    return Client(headers={"X-Forwarded-For": forwarded}).post("/sign-in", form).status_code


@pytest.fixture
def proxy(settings: Settings) -> None:
    """As in production."""
    settings.MIDDLEWARE = ["labqueue.base.proxy.BehindProxy", *settings.MIDDLEWARE]
    cast.manager()


@pytest.mark.django_db
@pytest.mark.usefixtures("proxy")
def test_failures_of_others_do_not_lock_out_the_owner() -> None:
    assert [sign_in(f"{OWNER}, 203.0.113.{host}", "wrong") for host in range(1, 9)] == [200] * 8
    assert sign_in(OWNER, "magnusmagnus") == 302


@pytest.mark.django_db
@pytest.mark.usefixtures("proxy")
def test_who_claims_to_come_from_elsewhere_each_time_is_locked_out_all_the_same() -> None:
    for host in range(1, 9):
        last = sign_in(f"192.0.2.{host}, {STRANGER}", "wrong")
    assert last == 429
    assert sign_in(f"{OWNER}, {STRANGER}", "magnusmagnus") == 429
    assert sign_in(OWNER, "magnusmagnus") == 302
