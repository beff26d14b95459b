"""Answers where no view gives one: for people a page of the house, for programs problem details."""

import json
import re
from typing import Any

import pytest
from django.conf import settings as django_settings
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.test import Client, RequestFactory
from django.urls import path
from pytest_django import Settings

from labqueue import guard, urls
from labqueue.base.models import User
from tests import cast

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}


def crash(request: HttpRequest) -> HttpResponse:
    """A view with a fault of our own."""
    raise RuntimeError("the inside of the house")


def deny(request: HttpRequest) -> HttpResponse:
    """A view in which Django itself refuses."""
    raise PermissionDenied("the inside of the house")


# The whole house, with two rooms in which everything goes wrong. They take the names of addresses that all may open.
urlpatterns = [
    path("crash", crash, name="home"),
    path("deny", deny, name="home"),
    path("api/v1/crash", crash),
    path("api/v1/deny", deny),
    path("unlisted", crash, name="unlisted"),
    *urls.urlpatterns,
]
handler400, handler403, handler404, handler500 = urls.handler400, urls.handler403, urls.handler404, urls.handler500
broken = pytest.mark.urls(__name__)


def client(user: User | None = None, **options: Any) -> Client:
    """A browser that sees a crash as others do, in which `user` is signed in."""
    found = Client(raise_request_exception=False, **options)
    if user:
        found.force_login(user)
    return found


def page(answer: Any, status: int) -> str:
    """The text of a page of the house with this status."""
    assert answer.status_code == status
    assert answer["Content-Type"].startswith("text/html")
    html = answer.content.decode()
    assert html.lstrip().startswith("<!doctype html>")
    assert "house.css" in html
    assert "inside of the house" not in html
    return " ".join(re.sub(r"<[^>]*>", " ", html).split())


def problem(answer: Any, status: int) -> dict[str, Any]:
    """The problem details with this status."""
    assert answer.status_code == status
    assert answer["Content-Type"] == "application/problem+json"
    found: dict[str, Any] = json.loads(answer.content)
    assert found["status"] == status
    assert found["detail"]
    assert "inside of the house" not in answer.content.decode()
    return found


def test_an_unknown_address_is_a_page_with_the_way_back() -> None:
    text = page(client(cast.technician()).get("/cases/2600001/nowhere"), 404)
    assert "There is nothing at this address" in text
    assert "Benches" in text


def test_an_unknown_address_is_a_page_for_strangers_too() -> None:
    text = page(client().get("/nowhere"), 404)
    assert "There is nothing at this address" in text
    assert "Cases" not in text


@pytest.mark.parametrize("address", ["/api/v1/nowhere", "/api/", "/api/v2/cases"])
def test_an_unknown_address_of_the_interface_is_a_problem(address: str) -> None:
    assert problem(client().get(address), 404)["title"] == "Not found"


@broken
def test_an_address_that_the_table_does_not_know_opens_for_nobody() -> None:
    page(client(cast.administrator()).get("/unlisted"), 404)


@broken
def test_a_crash_is_a_page_that_shows_nothing_of_the_inside() -> None:
    assert "The service failed at this page" in page(client(cast.manager()).get("/crash"), 500)


@broken
def test_a_crash_of_the_interface_is_a_problem() -> None:
    assert problem(client().get("/api/v1/crash"), 500)["title"] == "Server Error"


def test_the_page_of_a_crash_needs_neither_person_nor_database(django_assert_num_queries: Any) -> None:
    """The request may be all that is left: no session, no user, no database."""
    with django_assert_num_queries(0):
        assert "Out of order" in page(guard.crashed(RequestFactory().get("/")), 500)
        assert "Not understood" in page(guard.bad_request(RequestFactory().get("/"), Exception()), 400)


def test_another_host_is_a_bad_request() -> None:
    text = page(client().get("/", headers={"Host": "elsewhere.example"}), 400)
    assert "Open the service by its usual address" in text
    assert "elsewhere" not in text


def test_another_host_is_a_problem_for_programs() -> None:
    answer = client().get("/api/v1/cases", headers={"Host": "elsewhere.example"})
    assert problem(answer, 400)["title"] == "Bad Request"


def test_a_request_that_is_too_large_is_turned_away_at_the_door(settings: Settings) -> None:
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 10
    person = cast.prescriber()
    assert "This is too large" in page(client(person).post("/keys", {"name": "x" * 50}), 413)
    assert not person.tokens.exists()


def test_a_request_with_too_many_fields_is_a_bad_request(settings: Settings) -> None:
    settings.DATA_UPLOAD_MAX_NUMBER_FIELDS = 1
    person = cast.prescriber()
    assert "Nothing was written" in page(client(person).post("/keys", {"name": "x", "more": "y"}), 400)
    assert not person.tokens.exists()


def test_a_form_without_its_token_is_refused_and_nothing_is_written() -> None:
    person = cast.prescriber()
    text = page(client(person, enforce_csrf_checks=True).post("/keys", {"name": "x"}), 403)
    assert "Load it again and send it once more" in text
    assert "Nothing was written" in text
    assert not person.tokens.exists()


def test_a_sign_in_without_its_token_is_refused_in_words() -> None:
    answer = client(enforce_csrf_checks=True).post("/sign-in", {"username": "a", "password": "b"})
    assert "your browser takes no cookies" in page(answer, 403)


def test_a_form_without_its_token_is_a_fragment_for_htmx() -> None:
    answer = client(cast.prescriber(), enforce_csrf_checks=True).post("/keys", {"name": "x"}, headers=HTMX)
    assert answer.status_code == 403
    assert answer["HX-Retarget"] == "#notice"
    assert "<!doctype" not in answer.content.decode()
    assert "Load it again" in answer.content.decode()


def test_a_session_without_its_token_is_a_problem_for_programs() -> None:
    answer = client(cast.prescriber(), enforce_csrf_checks=True).post("/api/v1/cases", {}, "application/json")
    assert "CSRF" in problem(answer, 403)["detail"]


def test_the_refusal_of_a_token_has_both_shapes() -> None:
    """The interface checks the token by itself today; the view answers right wherever Django calls it."""
    assert django_settings.CSRF_FAILURE_VIEW == "labqueue.guard.forged"
    assert problem(guard.forged(RequestFactory().post("/api/v1/cases"), "no cookie"), 403)["title"] == "Not allowed"


@broken
@pytest.mark.parametrize(("address", "shape"), [("/deny", page), ("/api/v1/deny", problem)])
def test_what_django_denies_is_a_refusal_of_the_house(address: str, shape: Any) -> None:
    assert "Ask the administrator" in str(shape(client(cast.manager()).get(address), 403))


def test_a_role_that_may_not_open_a_page_is_refused() -> None:
    text = page(client(cast.technician()).get("/people"), 403)
    assert "The role technician cannot open this. Ask the administrator if you need it." in text


def test_a_role_that_may_not_open_a_part_is_refused_in_a_fragment() -> None:
    answer = client(cast.technician()).get("/planning/bottlenecks", headers=HTMX)
    assert answer.status_code == 403
    assert answer["HX-Retarget"] == "#notice"
    assert "<!doctype" not in answer.content.decode()
    assert "The role technician cannot open this" in answer.content.decode()


def test_a_role_is_refused_by_the_interface_in_its_own_shape() -> None:
    answer = client(cast.technician()).post("/api/v1/cases", {}, "application/json")
    assert problem(answer, 403)["title"] == "Not allowed"


def test_a_stranger_is_led_to_the_sign_in_and_back() -> None:
    assert client().get("/cases?state=held")["Location"] == "/sign-in?next=/cases%3Fstate%3Dheld"


def test_who_was_signed_out_does_not_come_back_to_an_address_that_only_takes_forms() -> None:
    answer = client().post("/cases/2600001/sign")
    assert answer.status_code == 302
    assert answer["Location"] == "/sign-in?next=/"
