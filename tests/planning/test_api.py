"""The interface of planning for programs."""

from datetime import datetime

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from labqueue.base.api import issue_token
from labqueue.base.models import OutboxRow, User
from labqueue.planning import forecast, freshness
from labqueue.planning.models import Forecast
from labqueue.production.models import Station
from orders.models import Outlook
from tests import cast
from tests.production.build import released_case, shop

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def few_futures(settings: object) -> None:
    """Enough for a test."""
    settings.PLANNING_REPLICATIONS = 50  # type: ignore[attr-defined]


def made() -> Forecast:
    """A forecast, published."""
    result = forecast.compute(timezone.now())
    with transaction.atomic():
        return forecast.publish(result)


def program(user: User) -> Client:
    """A program with that person's token."""
    return Client(headers={"Authorization": f"Bearer {issue_token(user, 'test')}"})


def test_an_outlook_has_all_its_figures_and_their_age() -> None:
    case = released_case()
    made()
    response = program(cast.prescriber()).get(reverse("api:outlook", args=[case.number]))
    assert response.status_code == 200
    said, kept = response.json(), Outlook.objects.get(case=case)
    assert said["case"] == case.number
    assert (said["late"], said["late_low"], said["late_high"]) == (kept.late, kept.late_low, kept.late_high)
    assert said["reason"] == kept.reason
    for name in ("p50", "p80", "p95", "made_at"):
        assert datetime.fromisoformat(said[name]) == getattr(kept, name)
    assert datetime.fromisoformat(said["due_at"]) == case.due_at
    assert set(said) == {"case", "due_at", "late", "late_low", "late_high", "p50", "p80", "p95", "reason", "made_at"}


def test_a_case_without_an_outlook_says_why() -> None:
    case = released_case()
    said = program(cast.technician()).get(reverse("api:outlook", args=[case.number])).json()
    assert said["late"] is None
    assert said["made_at"] is None
    assert said["reason"] == "no forecast yet"


@pytest.mark.parametrize("number", ["own", "2699999"])
def test_a_foreign_or_unknown_case_is_not_found(number: str) -> None:
    case = released_case()
    asked = case.number if number == "own" else number
    response = program(cast.prescriber("southgate")).get(reverse("api:outlook", args=[asked]))
    assert response.status_code == 404
    assert response["Content-Type"] == "application/problem+json"
    assert response.json()["errors"][0]["pointer"] == "/case"


def test_bottlenecks_are_the_report_of_the_last_forecast() -> None:
    released_case()
    made()
    last = made()
    said = program(cast.manager()).get(reverse("api:bottlenecks")).json()
    assert said["forecast"]["id"] == last.pk
    assert said["cases"] == 1
    assert said["late_cases"] == 0.0
    assert said["sentence"].endswith(".")
    assert [row["station"] for row in said["stations"]] == list(Station.objects.values_list("code", flat=True))
    assert said["stations"][0]["name"] == "Intake"
    assert said["stations"][0]["work_in_process"] == 2


def test_before_the_first_forecast_there_is_no_report() -> None:
    response = program(cast.manager()).get(reverse("api:bottlenecks"))
    assert response.status_code == 404
    assert "Ask for one" in response.json()["detail"]


def test_a_forecast_is_asked_for_and_made_once() -> None:
    shop()
    asks = program(cast.manager())
    for _ in range(2):
        response = asks.post(reverse("api:forecasts"))
        assert response.status_code == 202
        assert response.json() == {"state": "queued"}
    assert OutboxRow.objects.filter(kind=freshness.KIND).count() == 1


def test_forecasts_are_listed_the_newest_first() -> None:
    shop()
    first, second = made(), made()
    said = program(cast.manager()).get(reverse("api:forecasts")).json()
    assert [row["id"] for row in said["results"]] == [second.pk, first.pk]
    assert said["results"][0]["replications"] == 50
    assert said["results"][0]["version"] == second.version


def test_a_long_list_comes_in_pages() -> None:
    shop()
    made(), made(), made()
    said = program(cast.manager()).get(reverse("api:forecasts"), {"limit": 2}).json()
    assert len(said["results"]) == 2
    rest = program(cast.manager()).get(said["next"]).json()
    assert len(rest["results"]) == 1


@pytest.mark.parametrize("person", [cast.prescriber, cast.technician, cast.shipper, cast.administrator])
@pytest.mark.parametrize("name", ["api:bottlenecks", "api:forecasts"])
def test_the_report_and_forecasts_are_the_managers(name: str, person: object) -> None:
    assert program(person()).get(reverse(name)).status_code == 403  # type: ignore[operator]


def test_only_the_manager_asks() -> None:
    assert program(cast.technician()).post(reverse("api:forecasts")).status_code == 403
    assert Client().post(reverse("api:forecasts")).status_code == 401
    assert not OutboxRow.objects.filter(kind=freshness.KIND).exists()
