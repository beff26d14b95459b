"""Finding cases for programs, by what is in the address; never by the patient."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from labqueue.base.models import User
from orders.models import Case
from tests import cast
from tests.orders import build
from tests.orders.test_api import Program

pytestmark = pytest.mark.django_db


@pytest.fixture
def cases() -> tuple[Case, Case, Case]:
    """An abutment with its crown on 8, a one-piece crown on 30, and a draft on 9."""
    first = build.signed_case(patient_ref="K-1", items=[build.abutment(lot="L-77", catalogue="C5"), build.crown()])
    second = build.signed_case(patient_ref="K-2", seat_at=None, items=[build.screw_crown("30", system="Borea")])
    draft = build.draft_case(patient_ref="K-3", seat_at=None, items=[build.screw_crown("9")])
    return first, second, draft


def ask(query: str, who: User | None = None) -> Any:
    """What is answered to an address."""
    return Program(who or cast.assistant()).ask("GET", f"?{query}")


def numbers(query: str, who: User | None = None) -> list[str]:
    """What is found, by number, in the order in which it is given."""
    answer = ask(query, who)
    assert answer.status_code == 200
    return [case["number"] for case in answer.json()["results"]]


@pytest.mark.parametrize(
    ("query", "places"),
    [
        ("", [2, 1, 0]),
        ("state=draft", [2]),
        ("tooth=30&notation=universal", [1]),
        ("tooth=46&notation=fdi", [1]),
        ("tooth=46&notation=fdi&system=averin", []),
        ("system=bor", [1]),
        ("lot=l-77", [0]),
        ("lot=c5&tooth=8&notation=universal&state=signed", [0]),
        ("seat_from=&seat_to=&tooth=&notation=&lot=&system=", [2, 1, 0]),
    ],
)
def test_all_that_is_asked_is_true_of_what_is_found_newest_first(
    cases: tuple[Case, ...], query: str, places: list[int]
) -> None:
    assert numbers(query) == [cases[place].number for place in places]


def test_the_days_of_the_appointment(cases: tuple[Case, ...]) -> None:
    day = timezone.localdate(cases[0].seat_at)
    assert numbers(f"seat_from={day}&seat_to={day}") == [cases[0].number]
    assert numbers(f"seat_from={day + timedelta(days=1)}") == []
    assert numbers(f"seat_to={day - timedelta(days=1)}") == []


def test_a_practice_finds_its_own_and_the_laboratory_what_was_signed(cases: tuple[Case, ...]) -> None:
    assert numbers("system=averin", cast.assistant("southgate")) == []
    assert numbers("system=averin", cast.manager()) == [cases[0].number]
    assert numbers("tooth=9&notation=universal", cast.manager()) == []


@pytest.mark.parametrize(
    ("query", "status", "pointer", "words"),
    [
        ("tooth=8", 422, "/tooth", "in which notation"),
        ("tooth=99&notation=fdi", 422, "/tooth", "no permanent tooth"),
        ("system=a", 422, "/system", "at least 2 letters"),
        ("state=lost", 422, "/state", "is no state"),
        ("state=", 422, "/state", "is no state"),
        ("seat_from=2031-03-02&seat_to=2031-03-01", 422, "/seat_to", "lies before the first"),
        ("seat_from=tomorrow", 400, "/seat_from", "YYYY-MM-DD"),
        ("patient_ref=K-1", 400, "/patient_ref", "never stands in an address"),
    ],
)
def test_what_cannot_be_meant(query: str, status: int, pointer: str, words: str) -> None:
    build.draft_case(patient_ref="K-1")
    answer = ask(query)
    assert (answer.status_code, answer["Content-Type"]) == (status, "application/problem+json")
    (fault,) = answer.json()["errors"]
    assert fault["pointer"] == pointer
    assert words in fault["message"]
    assert "results" not in answer.json()
    assert "K-1" not in answer.content.decode()


def test_the_next_page_asks_the_same(cases: tuple[Case, ...]) -> None:
    for number in range(3):
        build.signed_case(patient_ref=f"K-{20 + number}")
    query, seen = "tooth=11&notation=fdi&limit=3", []
    while query:
        answer = ask(query).json()
        seen += [case["number"] for case in answer["results"]]
        query = (answer["next"] or "").partition("?")[2]
    expected = Case.objects.filter(current__items__tooth=11).distinct().order_by("-pk")
    assert seen == list(expected.values_list("number", flat=True))
    assert len(seen) == 4


def test_more_cases_take_no_more_queries(cases: tuple[Case, ...]) -> None:
    program, counts = Program(cast.manager()), []
    program.ask("GET", "")  # the key notes its first use
    for number in range(2):
        with CaptureQueriesContext(connection) as queries:
            found = program.ask("GET", "?tooth=11&notation=fdi&system=averin&seat_from=2020-01-01").json()["results"]
        counts.append((len(queries), len(found)))
        build.signed_case(patient_ref=f"K-{70 + number}")
        build.signed_case(patient_ref=f"K-{80 + number}")
    assert [found for _, found in counts] == [1, 3]
    assert counts[0][0] == counts[1][0] <= 8
