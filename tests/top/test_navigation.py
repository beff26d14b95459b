"""The ways to everything else: those that a role may go, and the one that a page lies on."""

import re
from typing import Any

import pytest

from labqueue.access import may_open
from labqueue.base.roles import Role
from labqueue.home import WAYS, current_way
from tests import cast
from tests.top.firstpage import PEOPLE, browser, page

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("role", list(Role))
def test_the_ways_are_those_that_the_role_may_go(role: Role) -> None:
    user = PEOPLE[role]()
    html = page(user)
    ways = re.search(r'<nav class="ways".*?</nav>', html, re.DOTALL)
    assert ways is not None
    labels = re.findall(r"<a [^>]*>([^<]+)</a>", ways[0])
    assert labels == [label for name, label in WAYS if may_open(user, name)]
    assert re.findall(r'aria-current="page">([^<]+)', html) == ["Today"]


@pytest.mark.parametrize(
    ("path", "way"),
    [
        ("/", "/"),
        ("/cases", "/cases"),
        ("/cases/new", "/cases/new"),
        ("/cases/2600001", "/cases"),
        ("/cases/2600001/outlook", "/cases"),
        ("/bench/intake", "/bench"),
        ("/benchmark", ""),
        ("/keys/3/revoke", "/keys"),
        ("/nowhere", ""),
    ],
)
def test_the_way_that_one_is_on_is_the_nearest_above(path: str, way: str) -> None:
    assert current_way(["/", "/cases", "/cases/new", "/bench", "/keys"], path) == way


@pytest.mark.parametrize(
    ("person", "path", "label"),
    [
        (cast.manager, "/cases", "Cases"),
        (cast.manager, "/planning/stations", "Stations"),
        (cast.manager, "/invoices", "Invoices"),
        (cast.technician, "/bench", "Benches"),
        (cast.prescriber, "/cases/new", "New order"),
        (cast.administrator, "/people", "People"),
        (cast.administrator, "/practices", "Practices"),
        (cast.administrator, "/cases/2600001", "Cases"),
        (cast.shipper, "/keys", "Access keys"),
    ],
)
def test_each_page_marks_the_way_that_one_is_on(person: Any, path: str, label: str) -> None:
    html = browser(person()).get(path).content.decode()
    assert re.findall(r'aria-current="page">([^<]+)', html) == [label]


def test_a_person_without_a_way_is_marked_on_none() -> None:
    html = browser(cast.technician()).get("/people").content.decode()
    assert "Benches" in html
    assert 'aria-current="page"' not in html
