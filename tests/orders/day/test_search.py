"""Finding cases by what is written in them."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from labqueue.base.models import User
from orders.day.search import Wanted, found
from orders.models import Case
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused
from tests.orders.test_case_pages import browser, text

pytestmark = pytest.mark.django_db


def numbers(who: User | None = None, **wanted: Any) -> list[str]:
    """What is found, by number."""
    return [case.number for case in found(who or cast.assistant(), Wanted(**wanted))]


@pytest.fixture
def cases() -> tuple[Case, Case, Case]:
    """An abutment with its crown on 8, a one-piece crown on 30, and a draft on 9."""
    first = build.signed_case(patient_ref="K-1", items=[build.abutment(lot="L-77", catalogue="C5"), build.crown()])
    second = build.signed_case(patient_ref="K-2", seat_at=None, items=[build.screw_crown("30", system="Borea")])
    draft = build.draft_case(patient_ref="K-3", seat_at=None, items=[build.screw_crown("9")])
    return first, second, draft


@pytest.mark.parametrize(
    ("wanted", "places"),
    [
        ({}, [0, 1, 2]),
        ({"patient_ref": " k-2 "}, [1]),
        ({"tooth": "30", "notation": "universal"}, [1]),
        ({"tooth": "46", "notation": "fdi"}, [1]),
        ({"tooth": "46", "notation": "fdi", "system": "averin"}, []),
        ({"system": "bor"}, [1]),
        ({"lot": "l-77"}, [0]),
        ({"lot": "c5"}, [0]),
        ({"lot": "C5", "tooth": "8", "notation": "universal"}, [0]),
        ({"state": "draft"}, [2]),
        ({"state": "signed", "system": "Averin"}, [0]),
    ],
)
def test_all_that_is_said_is_true_of_what_is_found(cases: Any, wanted: dict[str, Any], places: list[int]) -> None:
    assert sorted(numbers(**wanted)) == [cases[place].number for place in places]


def test_the_days_of_the_appointment_are_whole(cases: Any) -> None:
    day = timezone.localdate(cases[0].seat_at)
    assert numbers(seat_from=day, seat_to=day) == [cases[0].number]
    assert numbers(seat_from=day + timedelta(days=1)) == []
    assert numbers(seat_to=day - timedelta(days=1)) == []


def test_a_practice_finds_its_own_and_the_laboratory_what_was_signed(cases: Any) -> None:
    assert numbers(cast.assistant("southgate")) == []
    assert sorted(numbers(cast.manager())) == [cases[0].number, cases[1].number]
    assert numbers(cast.manager(), tooth="9", notation="universal") == []


@pytest.mark.parametrize(
    ("wanted", "field", "words"),
    [
        ({"tooth": "8"}, "tooth", "in which notation"),
        ({"tooth": "99", "notation": "fdi"}, "tooth", "no permanent tooth"),
        ({"system": "a"}, "system", "at least 2 letters"),
        ({"state": "lost"}, "state", "is no state"),
        ({"seat_to": date(9999, 12, 31)}, "seat_to", "Give a day from 2000-01-01 to 2199-12-31."),
        ({"seat_from": date(1, 1, 1)}, "seat_from", "Give a day from 2000-01-01"),
        ({"seat_from": date(2031, 3, 2), "seat_to": date(2031, 3, 1)}, "seat_to", "lies before the first"),
    ],
)
def test_what_cannot_be_meant(wanted: dict[str, Any], field: str, words: str) -> None:
    person = cast.assistant()
    with refused(field, words):
        numbers(person, **wanted)


def test_the_page_finds_and_the_address_says_nothing_of_the_patient(cases: Any) -> None:
    client = browser(cast.assistant())
    assert "Find cases" in text(client.get("/cases/search"))
    answer = client.post("/cases/search", {"patient_ref": "K-1", "state": "all"})
    assert cases[0].number in text(answer)
    assert cases[1].number not in text(answer)
    assert "K-1" not in answer.request["PATH_INFO"] + answer.request["QUERY_STRING"]
    assert "No case found" in text(client.post("/cases/search", {"patient_ref": "K-9", "state": "all"}))


def test_a_fault_is_shown_at_its_field() -> None:
    answer = browser(cast.assistant()).post("/cases/search", {"tooth": "8", "state": "all"})
    assert answer.status_code == 422
    assert "in which notation" in text(answer)


def test_more_cases_take_no_more_queries(cases: Any) -> None:
    client, counts = browser(cast.assistant()), []
    for _ in range(2):
        with CaptureQueriesContext(connection) as queries:
            client.post("/cases/search", {"state": "all"})
        counts.append(len(queries))
        build.signed_case(patient_ref="K-7")
        build.signed_case(patient_ref="K-8")
    assert counts[0] == counts[1]
