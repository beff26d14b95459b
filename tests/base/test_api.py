"""Tokens, sessions and pages of a list."""

import base64
from datetime import date, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.api import digest, issue_token, revoke_token
from labqueue.base.models import ApiToken, ClosedDay, User
from tests.cast import administrator, technician

pytestmark = [pytest.mark.django_db, pytest.mark.urls("tests.base.urls")]


@pytest.fixture
def person() -> User:
    """Who owns the token."""
    return technician()


@pytest.fixture
def token(person: User) -> str:
    """A good token."""
    return issue_token(person, "scanner at the press", days=30)


def ask(authorization: str | None, path: str = "/api/v1/me") -> Any:
    """The answer to a program with that header."""
    headers = {"Authorization": authorization} if authorization is not None else {}
    return Client().get(path, headers=headers)


def refused(authorization: str | None) -> bool:
    """Whether the answer is 401 with a problem that says how to sign in, and no token was touched."""
    answer = ask(authorization)
    assert answer.status_code == 401
    assert answer["WWW-Authenticate"] == "Bearer"
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["status"] == 401
    return not ApiToken.objects.exclude(last_used_at=None).exists()


def test_a_token_signs_in(token: str) -> None:
    answer = ask(f"Bearer {token}")
    assert answer.status_code == 200
    assert answer.json() == {"username": "tessa"}


@pytest.mark.parametrize("form", ["bearer {}", "BEARER {}", "Bearer  {}", "Bearer {} "])
def test_the_scheme_may_be_written_in_any_case(token: str, form: str) -> None:
    assert ask(form.format(token)).status_code == 200


def test_a_token_needs_no_csrf_token_where_a_session_does(token: str, person: User) -> None:
    client = Client(enforce_csrf_checks=True)
    assert client.post("/api/v1/me", headers={"Authorization": f"Bearer {token}"}).status_code == 200
    client.force_login(person)
    assert client.get("/api/v1/me").status_code == 200
    answer = client.post("/api/v1/me")
    assert answer.status_code == 403
    assert "CSRF" in answer.json()["detail"]


def test_the_token_itself_is_not_kept(token: str, person: User) -> None:
    row = ApiToken.objects.get()
    assert row.digest == digest(token)
    assert token.startswith("lq_")
    assert len(token) >= 43
    kept = [str(value) for value in ApiToken.objects.values_list()] + [str(e.after) for e in audit.trail(person)]
    assert not [text for text in kept if token in text]


def test_each_token_is_another(person: User) -> None:
    assert len({issue_token(person, "same name") for _ in range(20)}) == 20


def test_issuing_is_told_in_the_trail(token: str, person: User) -> None:
    (event,) = audit.trail(person)
    assert (event.verb, event.actor) == ("issue token", person)
    assert event.after["name"] == "scanner at the press"


def test_without_a_token_it_is_401(person: User) -> None:
    assert refused(None)


@pytest.mark.parametrize("header", ["Bearer", "Bearer ", "Bearer lq_unknown", "Bearer lq_ä", "Bearer \x00", "Token {}"])
def test_an_unknown_token_is_401(token: str, header: str) -> None:
    assert refused(header.format(token))


def test_other_letters_or_a_shorter_token_are_401(token: str) -> None:
    assert refused(f"Bearer {token.swapcase()}")
    assert refused(f"Bearer {token[:-1]}")
    assert refused("Basic " + base64.b64encode(f"tessa:{token}".encode()).decode())


def test_the_digest_is_no_token(token: str) -> None:
    assert refused(f"Bearer {digest(token)}")


def test_a_token_ends(token: str) -> None:
    with time_machine.travel(timezone.now() + timedelta(days=29, hours=23)):
        assert ask(f"Bearer {token}").status_code == 200
    ApiToken.objects.update(last_used_at=None)
    with time_machine.travel(timezone.now() + timedelta(days=30)):
        assert refused(f"Bearer {token}")


def test_a_revoked_token_is_401_at_once(token: str, person: User) -> None:
    row = ApiToken.objects.get()
    revoke_token(row, administrator())
    assert refused(f"Bearer {token}")
    event = audit.trail(person)[-1]
    assert (event.verb, event.actor, event.after["token"]) == ("revoke token", administrator(), row.pk)


def test_revoking_twice_keeps_the_first_time(token: str, person: User) -> None:
    revoke_token(ApiToken.objects.get(), administrator())
    first = ApiToken.objects.get().revoked_at
    revoke_token(ApiToken.objects.get(), administrator())
    assert ApiToken.objects.get().revoked_at == first
    assert [event.verb for event in audit.trail(person)] == ["issue token", "revoke token"]


def test_a_token_of_a_person_who_left_is_401(token: str, person: User) -> None:
    User.objects.filter(pk=person.pk).update(is_active=False)
    assert refused(f"Bearer {token}")


def test_all_that_is_wrong_is_told_alike(token: str) -> None:
    unknown = ask("Bearer lq_unknown").json()
    revoke_token(ApiToken.objects.get(), administrator())
    assert ask(f"Bearer {token}").json() == unknown


def test_the_last_use_is_written_at_most_once_a_minute(token: str) -> None:
    start = timezone.now()
    seen = []
    for seconds in (0, 30, 59, 61, 90, 122):
        with time_machine.travel(start + timedelta(seconds=seconds), tick=False):
            assert ask(f"Bearer {token}").status_code == 200
        last = ApiToken.objects.get().last_used_at
        assert last is not None
        seen.append(round((last - start).total_seconds()))
    assert seen == [0, 0, 0, 61, 61, 122]


def test_a_used_token_costs_one_query(token: str, django_assert_num_queries: Any) -> None:
    ask(f"Bearer {token}")
    with django_assert_num_queries(1):
        ask(f"Bearer {token}")


def test_a_view_that_needs_a_person_refuses_nobody() -> None:
    answer = ask(None, "/api/v1/nobody")
    assert answer.status_code == 403
    assert answer.json()["errors"] == [{"pointer": "", "code": "sign-in", "message": "Sign in first."}]


@pytest.fixture
def days() -> list[int]:
    """Seven rows, newest first."""
    for number in range(7):
        ClosedDay.objects.create(day=date(2026, 1, 1) + timedelta(days=number))
    return list(ClosedDay.objects.order_by("-pk").values_list("pk", flat=True))


def read(url: str) -> tuple[list[int], str | None]:
    """The ids of one page and the address of the next."""
    page = ask(None, url).json()
    return [row["id"] for row in page["results"]], page["next"]


def test_pages_follow_each_other_newest_first(days: list[int]) -> None:
    first, following = read("/api/v1/days?limit=3")
    assert following is not None
    second, following = read(following)
    assert following is not None
    third, following = read(following)
    assert (first, second, third, following) == (days[:3], days[3:6], days[6:], None)


def test_what_comes_in_between_two_pages_neither_repeats_nor_hides_a_row(days: list[int]) -> None:
    first, following = read("/api/v1/days?limit=3")
    ClosedDay.objects.create(day=date(2026, 2, 1))
    ClosedDay.objects.filter(pk=days[1]).delete()
    assert following is not None
    second, _ = read(following)
    assert first + second == days[:6]


@pytest.mark.parametrize(("limit", "length"), [("2", 2), ("0", 7), ("-1", 7), ("many", 7), ("100000", 7)])
def test_a_limit_that_makes_no_sense_is_the_usual_one(days: list[int], limit: str, length: int) -> None:
    assert len(read(f"/api/v1/days?limit={limit}")[0]) == length


def test_no_page_is_longer_than_two_hundred() -> None:
    start = date(2020, 1, 1)
    ClosedDay.objects.bulk_create(ClosedDay(day=start + timedelta(days=number)) for number in range(203))
    assert len(read("/api/v1/days?limit=100000")[0]) == 200
    assert len(read("/api/v1/days")[0]) == 50


def test_a_broken_cursor_is_a_problem(days: list[int]) -> None:
    answer = ask(None, "/api/v1/days?cursor=broken")
    assert answer.status_code == 404
    assert answer["Content-Type"] == "application/problem+json"
