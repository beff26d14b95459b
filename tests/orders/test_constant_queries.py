"""The lists need as many queries for very many cases as for two."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from labqueue.base.api import issue_token
from labqueue.base.models import User
from tests import cast
from tests.orders import build, crowd

pytestmark = pytest.mark.django_db


def browser(user: User) -> Client:
    """A browser in which somebody is signed in."""
    client = Client()
    client.force_login(user)
    return client


def program(user: User) -> Client:
    """Somebody's program, with a token."""
    return Client(headers={"Authorization": f"Bearer {issue_token(user, 'test')}"})


def queries(client: Client, path: str) -> int:
    """How many queries an address needs, the session warm."""
    client.get(path)
    with CaptureQueriesContext(connection) as captured:
        assert client.get(path).status_code == 200
    return len(captured)


def test_lists_need_as_many_queries_as_for_two_cases() -> None:
    people = [cast.assistant(), cast.manager()]
    pages, programs = [browser(one) for one in people], [program(one) for one in people]
    case = build.signed_case()
    crowd.copies(case, 1, 9100000)
    few = [queries(one, "/cases") for one in pages], [queries(one, "/api/v1/cases?limit=2") for one in programs]
    assert max(few[0]) <= 8
    assert max(few[1]) <= 6
    crowd.copies(case, 1998, 9200000)
    assert few[0] == [queries(one, "/cases") for one in pages] == [queries(one, "/cases?page=40") for one in pages]
    assert few[1] == [queries(one, "/api/v1/cases?limit=2") for one in programs]
    assert few[1] == [queries(one, "/api/v1/cases") for one in programs]
