"""Forecasts beside each other, and beside the work on the floor: made once, and never of a floor that has moved on."""

from datetime import timedelta

import pytest
from django.db import transaction
from django.utils import timezone

from labqueue.base import outbox, tasks
from labqueue.base.models import OutboxRow
from labqueue.planning import floor, forecast, freshness
from labqueue.planning.floor import latest_event
from labqueue.planning.models import Forecast, Prediction
from labqueue.planning.tasks import notice_changes
from orders.hold import hold
from orders.models import Case, Outlook
from tests import cast
from tests.production.build import piece, released_case, send
from tests.races.together import beside, together

pytestmark = pytest.mark.django_db(transaction=True)

THREADS = 6


@pytest.fixture(autouse=True)
def quick_and_alone(settings: object, monkeypatch: pytest.MonkeyPatch) -> None:
    """Few futures, and no broker: the tests run the rows themselves."""
    settings.PLANNING_REPLICATIONS = 25  # type: ignore[attr-defined]
    monkeypatch.setattr(tasks.run_outbox, "apply_async", lambda *args, **options: None)


def publish(result: forecast.Result) -> Forecast:
    """As the outbox does it."""
    with transaction.atomic():
        return forecast.publish(result)


def test_clocks_that_notice_at_once_ask_once() -> None:
    released_case()
    together(THREADS, lambda _: notice_changes())
    assert OutboxRow.objects.get(kind=freshness.KIND).state == OutboxRow.State.QUEUED


def test_workers_that_run_the_same_forecast_publish_it_once() -> None:
    case = released_case()
    row = freshness.ask()
    assert together(THREADS, lambda _: outbox.run(row.pk)).count(True) == 1
    assert Forecast.objects.count() == 1
    assert Prediction.objects.get().case == case


def test_without_the_row_they_would_publish_it_many_times() -> None:
    """The positive control: it is the outbox row that makes the forecast one."""
    released_case()
    result = forecast.compute(timezone.now())
    together(THREADS, lambda _: publish(result))
    assert Forecast.objects.count() == THREADS
    assert Outlook.objects.count() == 1, "but a case has one outlook whatever happens"


def test_a_scan_while_it_is_computed_makes_the_next_one_wanted() -> None:
    case = released_case()
    result = forecast.compute(timezone.now())
    send(piece(case), "intake")
    published = publish(result)
    assert published.version < latest_event()
    assert freshness.wanted(published.made_at + timedelta(seconds=25))


def test_a_scan_between_version_and_rows_counts_as_not_yet_known(monkeypatch: pytest.MonkeyPatch) -> None:
    """The version is read before the rows, so what comes in between is computed again rather than missed."""
    case = released_case()
    known = latest_event()
    moved: list[int] = []

    def read_then_scan() -> int:
        moved.append(send(piece(case), "intake").scan.pk)
        return known

    monkeypatch.setattr(floor, "latest_event", read_then_scan)
    result = forecast.compute(timezone.now())
    assert moved
    assert result.snapshot.version == known < latest_event()


def test_publishing_and_verbs_on_the_same_cases_both_come_to_an_end() -> None:
    cases = [released_case(patient_ref=f"K-20{number}") for number in range(THREADS)]
    cast.manager()
    result = forecast.compute(timezone.now())
    published = beside(lambda: publish(result))
    together(THREADS, lambda number: hold(cast.manager(), cases[number], "The shade is missing."))
    assert published().predictions.count() == THREADS
    assert Outlook.objects.count() == THREADS
    assert Case.objects.filter(held_since__isnull=False).count() == THREADS
