"""Old forecasts: one an hour is kept with all it said, so that the rows do not grow without end."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from labqueue.celery import app
from labqueue.planning import freshness, history, tasks
from labqueue.planning.models import Forecast, Prediction, StationOutlook
from labqueue.production.models import Station
from orders.models import Case
from tests.production.build import released_case

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 11, 3, 12, 30, tzinfo=UTC)


@pytest.fixture
def case() -> Case:
    """The case of which all forecasts speak."""
    return released_case()


def made(case: Case, at: datetime) -> Forecast:
    """A forecast of that instant, with its case and its stations."""
    figures = {"replications": 1, "seed": 1, "seconds": 0.1, "version": 1}
    forecast = Forecast.objects.create(shop_at=at, made_at=at, **figures)
    Prediction.objects.create(forecast=forecast, case=case, late=0.25)
    loads = {"work_in_process": 1, "late_cases": 0.25}
    StationOutlook.objects.bulk_create(StationOutlook(forecast=forecast, station=s, **loads) for s in stations())
    return forecast


def stations() -> list[Station]:
    """All of them."""
    return list(Station.objects.all())


def every(case: Case, minutes: int, begin: datetime, end: datetime) -> list[Forecast]:
    """Forecasts from `begin` to before `end`."""
    count = int((end - begin) / timedelta(minutes=minutes))
    return [made(case, begin + n * timedelta(minutes=minutes)) for n in range(count)]


def test_of_each_old_hour_the_last_forecast_stays_with_all_it_said(case: Case) -> None:
    begin = datetime(2026, 11, 1, 4, 0, tzinfo=UTC)
    old = every(case, 20, begin, begin + timedelta(hours=4))
    assert history.thin(NOW) == 8
    kept = list(Forecast.objects.order_by("pk"))
    assert kept == old[2::3]
    assert [said.forecast for said in Prediction.objects.order_by("pk")] == kept
    assert StationOutlook.objects.count() == 4 * len(stations())


def test_both_hours_that_the_clock_shows_twice_keep_one(case: Case) -> None:
    """Summer time ends in the laboratory at 06:00 UTC that day: 05:30 and 06:30 are both 01:30 there."""
    at = datetime(2026, 11, 1, 5, 30, tzinfo=UTC)
    twice = [made(case, at), made(case, at + timedelta(hours=1))]
    assert history.thin(NOW) == 0
    assert list(Forecast.objects.order_by("pk")) == twice


def test_the_last_day_stays_whole(case: Case) -> None:
    begin = NOW - history.WHOLE
    recent = every(case, 10, begin, begin + timedelta(hours=2))
    assert history.thin(NOW) == 0
    assert Forecast.objects.count() == Prediction.objects.count() == len(recent)


def test_the_last_forecast_stays_however_old(case: Case) -> None:
    old = every(case, 10, NOW - timedelta(days=90, minutes=30), NOW - timedelta(days=90))
    history.thin(NOW)
    assert freshness.latest() == old[-1]


def test_thinning_again_drops_nothing_more(case: Case) -> None:
    every(case, 20, NOW - timedelta(days=3), NOW - timedelta(days=3) + timedelta(hours=3))
    assert history.thin(NOW) > 0
    assert history.thin(NOW) == 0


def test_nothing_to_thin_is_no_fault() -> None:
    assert history.thin(NOW) == 0


def test_many_are_dropped_in_few_queries(case: Case) -> None:
    every(case, 1, NOW - timedelta(days=3, minutes=30), NOW - timedelta(days=3))
    with CaptureQueriesContext(connection) as captured:
        assert history.thin(NOW) == 29
    assert len(captured) <= 8


def test_the_clock_has_it_done_each_hour(case: Case) -> None:
    entry = app.conf.beat_schedule["forecast: thin out old ones"]
    assert (entry["task"], entry["schedule"]) == (tasks.thin.name, 3600)
    first, second = (made(case, datetime(2020, 1, 1, 4, minute, tzinfo=UTC)) for minute in (10, 20))
    tasks.thin()
    assert list(Forecast.objects.all()) == [second]
    assert not Prediction.objects.filter(forecast=first.pk).exists()
