"""The lists with as many cases as a laboratory has after weeks: bounded pages, each case on one of them."""

import json
from typing import Any

import pytest
from django.test import Client

from labqueue.base.api import issue_token
from labqueue.base.models import User
from orders.models import Case
from tests import cast

pytestmark = pytest.mark.django_db


def browser(user: User) -> Client:
    """A browser in which somebody is signed in."""
    client = Client()
    client.force_login(user)
    return client


def numbers(answer: Any) -> list[str]:
    """The numbers on a page of the list."""
    return [case.number for case in answer.context["page"]]


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


def test_each_case_is_on_exactly_one_page() -> None:
    client = browser(cast.manager())
    pages = [numbers(client.get("/cases", {"page": page})) for page in range(1, 44)]
    found = [number for page in pages for number in page]
    assert sorted(found) == sorted(Case.objects.values_list("number", flat=True))
    assert [len(page) for page in pages] == [50] * 42 + [38]


def test_the_last_page_and_the_pages_of_a_filter() -> None:
    client = browser(cast.manager())
    last = client.get("/cases", {"state": "signed", "page": "43"})
    assert len(numbers(last)) == 38
    assert "<span>2101" in last.content.decode()
    assert "?state=signed&amp;page=42" in last.content.decode()
    assert "No cases here" in client.get("/cases", {"state": "hold"}).content.decode()


def test_a_patient_reference_that_many_cases_share_shows_the_latest() -> None:
    answer = browser(cast.assistant()).post("/cases", {"patient_ref": "K-2041"})
    page = answer.content.decode()
    assert numbers(answer) == [f"{9101998 - n:07d}" for n in range(50)]
    assert "The latest 50 of 2000 cases are shown." in page
    assert "?page=2" not in page


def program(user: User) -> Client:
    """Somebody's program, with a token."""
    return Client(headers={"Authorization": f"Bearer {issue_token(user, 'test')}"})


def test_the_interface_gives_one_page_at_a_time() -> None:
    client = program(cast.assistant())
    first = client.get("/api/v1/cases").json()
    assert len(first["results"]) == 50
    assert len(client.get("/api/v1/cases?limit=100000").json()["results"]) == 200
    second = client.get(first["next"]).json()
    assert first["results"][-1]["number"] > second["results"][0]["number"]
    assert len(json.dumps(first)) < 150_000


def test_the_interface_leads_through_all_pages() -> None:
    client, found = program(cast.manager()), []
    address: str | None = "/api/v1/cases?state=open&limit=200"
    while address:
        page = client.get(address).json()
        found += [case["number"] for case in page["results"]]
        address = page["next"]
    assert (len(found), len(set(found))) == (2138, 2138)
