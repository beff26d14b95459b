"""The lists with as many cases as a laboratory has after weeks: bounded pages, a constant number of queries."""

import json
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from labqueue.base.api import issue_token
from labqueue.base.models import User
from orders.models import Case, Outlook
from tests import cast
from tests.orders import build, crowd

pytestmark = pytest.mark.django_db


@pytest.fixture
def crowded() -> None:
    """2,000 open cases of one practice and 138 of another, each with two pieces and an outlook."""
    for code, count, first in (("northgate", 2000, 9100000), ("southgate", 138, 9200000)):
        case = build.signed_case(cast.prescriber(code))
        Outlook.objects.create(case=case, late=0.31, made_at=timezone.now())
        crowd.copies(case, count - 1, first)


def browser(user: User) -> Client:
    """A browser in which somebody is signed in."""
    client = Client()
    client.force_login(user)
    return client


def queries(client: Client, path: str) -> int:
    """How many queries a page needs, the session warm."""
    client.get(path)
    with CaptureQueriesContext(connection) as captured:
        assert client.get(path).status_code == 200
    return len(captured)


def numbers(answer: Any) -> list[str]:
    """The numbers on a page of the list."""
    return [case.number for case in answer.context["page"]]


@pytest.mark.usefixtures("crowded")
@pytest.mark.parametrize(("person", "count"), [(cast.assistant, 2000), (cast.manager, 2138)])
def test_a_page_of_very_many_cases_is_bounded(person: Any, count: int) -> None:
    client = browser(person())
    answer = client.get("/cases")
    page = answer.content.decode()
    assert (answer.context["state"], answer.context["page"].paginator.count) == ("open", count)
    assert (len(numbers(answer)), page.count('data-label="Case"')) == (50, 50)
    assert f"50 of {count}</span>" in page
    assert '<a class="button" rel="next" href="?page=2">' in page
    assert len(page) < 200_000


@pytest.mark.usefixtures("crowded")
def test_each_case_is_on_exactly_one_page() -> None:
    client = browser(cast.manager())
    pages = [numbers(client.get("/cases", {"page": page})) for page in range(1, 44)]
    found = [number for page in pages for number in page]
    assert sorted(found) == sorted(Case.objects.values_list("number", flat=True))
    assert [len(page) for page in pages] == [50] * 42 + [38]


@pytest.mark.parametrize("person", [cast.assistant, cast.manager])
def test_the_first_page_needs_as_many_queries_as_for_two_cases(person: Any) -> None:
    client, case = browser(person()), build.signed_case()
    crowd.copies(case, 1, 9100000)
    few = queries(client, "/cases")
    crowd.copies(case, 1998, 9200000)
    assert few == queries(client, "/cases") == queries(client, "/cases?page=40") <= 8


@pytest.mark.usefixtures("crowded")
def test_the_last_page_and_the_pages_of_a_filter() -> None:
    client = browser(cast.manager())
    last = client.get("/cases", {"state": "signed", "page": "43"})
    assert len(numbers(last)) == 38
    assert "<span>2101" in last.content.decode()
    assert "?state=signed&amp;page=42" in last.content.decode()
    assert "No cases here" in client.get("/cases", {"state": "hold"}).content.decode()


@pytest.mark.usefixtures("crowded")
def test_a_patient_reference_that_many_cases_share_shows_the_latest() -> None:
    answer = browser(cast.assistant()).post("/cases", {"patient_ref": "K-2041"})
    page = answer.content.decode()
    assert numbers(answer) == [f"{9101998 - n:07d}" for n in range(50)]
    assert "The latest 50 of 2000 cases are shown." in page
    assert "?page=2" not in page


def program(user: User) -> Client:
    """Somebody's program, with a token."""
    return Client(headers={"Authorization": f"Bearer {issue_token(user, 'test')}"})


@pytest.mark.usefixtures("crowded")
def test_the_interface_gives_one_page_at_a_time() -> None:
    client = program(cast.assistant())
    first = client.get("/api/v1/cases").json()
    assert len(first["results"]) == 50
    assert len(client.get("/api/v1/cases?limit=100000").json()["results"]) == 200
    second = client.get(first["next"]).json()
    assert first["results"][-1]["number"] > second["results"][0]["number"]
    assert len(json.dumps(first)) < 100_000


@pytest.mark.usefixtures("crowded")
def test_the_interface_leads_through_all_pages() -> None:
    client, found = program(cast.manager()), []
    address: str | None = "/api/v1/cases?state=open&limit=200"
    while address:
        page = client.get(address).json()
        found += [case["number"] for case in page["results"]]
        address = page["next"]
    assert (len(found), len(set(found))) == (2138, 2138)


@pytest.mark.parametrize("person", [cast.assistant, cast.manager])
def test_the_interface_needs_as_many_queries_as_for_two_cases(person: Any) -> None:
    client, case = program(person()), build.signed_case()
    crowd.copies(case, 1, 9100000)
    few = queries(client, "/api/v1/cases?limit=2")
    crowd.copies(case, 1998, 9200000)
    assert few == queries(client, "/api/v1/cases?limit=2") == queries(client, "/api/v1/cases") <= 6
