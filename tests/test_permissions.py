"""The access table, walked: every address, every role, reading and writing."""

from collections.abc import Iterator

import pytest
from django.http.response import HttpResponseBase
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from labqueue.access import PUBLIC, TABLE, roles_for
from labqueue.base.models import User
from labqueue.base.roles import Role
from orders.day.feeds import issue_feed
from tests import cast

PEOPLE = {
    Role.PRACTICE: cast.prescriber,
    Role.TECHNICIAN: cast.technician,
    Role.MANAGER: cast.manager,
    Role.SHIPPING: cast.shipper,
    Role.ADMIN: cast.administrator,
}
# Something that fits each kind of part of an address; nothing of that name exists.
FILLING = {
    "number": "9999999",
    "pk": 999999,
    "paper_id": 999999,
    "code": "nowhere",
    "station": "nowhere",
    "username": "nobody",
    "token": "no-such-token",
    "version": 9999,
}
METHODS = ("GET", "POST", "PUT")


def patterns(found: list[URLPattern | URLResolver], space: str = "") -> Iterator[tuple[str, URLPattern]]:
    """All named addresses with their namespaces."""
    for pattern in found:
        if isinstance(pattern, URLResolver):
            inner = f"{space}{pattern.namespace}:" if pattern.namespace else space
            yield from patterns(pattern.url_patterns, inner)
        else:
            yield f"{space}{pattern.name}", pattern


ADDRESSES = dict(patterns(get_resolver().url_patterns))


def address(name: str) -> str:
    """An address of that name, its parts filled in."""
    names = ADDRESSES[name].pattern.converters
    return reverse(name, kwargs={part: FILLING[part] for part in names})


def ask(client: Client, method: str, url: str) -> HttpResponseBase:
    """One request with an empty body."""
    response = client.generic(method, url, b"{}", content_type="application/json")
    assert isinstance(response, HttpResponseBase)
    return response


def test_the_table_knows_every_address_and_no_other() -> None:
    """An address that is not in the table opens for nobody, so none may be forgotten; and none may linger."""
    known = {entry.split(" ")[-1] for entry in TABLE} | PUBLIC
    assert set(ADDRESSES) == known


@pytest.mark.django_db
@pytest.mark.parametrize("role", list(Role))
def test_each_role_opens_what_the_table_says_and_nothing_else(role: Role, client: Client) -> None:
    """Denied is 403 whatever is behind the address; allowed is anything but 403 or a way to sign in."""
    client.raise_request_exception = False
    person = PEOPLE[role]()
    wrong = [
        (method, name, status)
        for name in sorted(set(ADDRESSES) - PUBLIC - {"sign-out"})
        for method in METHODS
        if (status := _status(client, person, method, name)) is not None
    ]
    assert wrong == []


def _status(client: Client, person: User, method: str, name: str) -> int | None:
    """The status where it contradicts the table, else None."""
    client.force_login(person)
    status = ask(client, method, address(name)).status_code
    allowed = person.role in (roles_for(name, method) or ())
    right = status not in (401, 403) and status < 500 if allowed else status == 403
    return None if right else status


@pytest.mark.django_db
def test_nobody_is_sent_to_sign_in(client: Client) -> None:
    """Pages lead to the sign-in, the interface answers 401, and nothing is shown."""
    wrong = []
    for name in sorted(set(ADDRESSES) - PUBLIC):
        response = ask(client, "GET", address(name))
        expected = 401 if address(name).startswith("/api/") else 302
        if response.status_code != expected:
            wrong.append((name, response.status_code))
    assert wrong == []


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(PUBLIC))
def test_what_is_public_opens_without_sign_in(name: str, client: Client) -> None:
    """The sign-in, the description of the interface, the sign of life; a calendar for whoever has its address."""
    url = reverse(name, args=[issue_feed(cast.prescriber())]) if name == "orders:feed" else address(name)
    assert ask(client, "GET", url).status_code == 200
