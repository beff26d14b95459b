"""When a new forecast is asked for: after a change, at most every 20 seconds, and at least every ten minutes."""

from datetime import datetime, timedelta

import pytest
from django.utils import timezone

from labqueue.base.models import OutboxRow
from labqueue.planning import freshness
from labqueue.planning.floor import latest_event
from labqueue.planning.models import Forecast
from labqueue.planning.tasks import notice_changes
from orders.hold import hold
from tests import cast
from tests.orders.build import signed_case
from tests.production.build import shop

pytestmark = pytest.mark.django_db
State = OutboxRow.State


def made(seconds_ago: float, *, behind: int = 0) -> datetime:
    """A forecast was published that long ago, `behind` so many events; gives the present."""
    now = timezone.now()
    made_at = now - timedelta(seconds=seconds_ago)
    version = latest_event() - behind
    facts = {"shop_at": made_at, "made_at": made_at, "replications": 1, "seed": 1, "seconds": 0.1}
    Forecast.objects.create(version=version, **facts)
    return now


def ended(state: str, minutes_ago: float) -> None:
    """The last work on a forecast ended like this."""
    at = timezone.now() - timedelta(minutes=minutes_ago)
    facts = {"kind": freshness.KIND, "subject": freshness.SUBJECT, "due_at": at, "finished_at": at}
    OutboxRow.objects.create(state=state, **facts)


@pytest.fixture(autouse=True)
def floor() -> None:
    """A laboratory with one case."""
    shop()
    signed_case()


def test_the_first_forecast_is_wanted_at_once() -> None:
    assert freshness.wanted(timezone.now())


@pytest.mark.parametrize(
    ("seconds", "behind", "answer"),
    [
        (15, 3, False),
        (25, 3, True),
        (25, 0, False),
        (590, 0, False),
        (610, 0, True),
    ],
)
def test_a_change_is_awaited_for_20_seconds_and_no_change_for_ten_minutes(
    seconds: float, behind: int, answer: bool
) -> None:
    assert freshness.wanted(made(seconds, behind=behind)) is answer


def test_any_verb_makes_the_forecast_stale() -> None:
    now = made(25)
    assert not freshness.wanted(now)
    hold(cast.manager(), signed_case(patient_ref="K-2042"), "The shade is missing.")
    assert freshness.wanted(now)


def test_what_is_coming_is_not_asked_for_again() -> None:
    row = freshness.ask()
    assert freshness.is_coming()
    assert not freshness.wanted(timezone.now())
    later = timezone.now() + timedelta(seconds=60)
    OutboxRow.objects.filter(pk=row.pk).update(state=State.RUNNING, lease_until=later)
    assert freshness.is_coming()
    assert not freshness.wanted(timezone.now())


def test_asking_twice_makes_one_row() -> None:
    assert freshness.ask().pk == freshness.ask().pk
    assert OutboxRow.objects.filter(kind=freshness.KIND).count() == 1


def test_after_a_failure_for_good_it_waits_ten_minutes() -> None:
    now = made(3600)
    ended(State.DEAD, minutes_ago=9)
    assert not freshness.wanted(now)


def test_then_it_is_tried_again() -> None:
    now = made(3600)
    ended(State.DEAD, minutes_ago=11)
    assert freshness.wanted(now)


def test_a_failure_that_was_made_up_for_does_not_count() -> None:
    now = made(3600)
    ended(State.DEAD, minutes_ago=9)
    ended(State.DONE, minutes_ago=8)
    assert freshness.wanted(now)


def test_the_clock_s_task_asks_once() -> None:
    notice_changes()
    notice_changes()
    assert OutboxRow.objects.filter(kind=freshness.KIND).count() == 1


def test_the_clock_s_task_leaves_a_fresh_forecast_alone() -> None:
    made(25)
    notice_changes()
    assert not OutboxRow.objects.filter(kind=freshness.KIND).exists()


def test_what_others_leave_in_the_outbox_is_no_forecast() -> None:
    now = timezone.now()
    OutboxRow.objects.create(kind="paper", subject="1", due_at=now)
    OutboxRow.objects.create(kind="paper", subject="2", due_at=now, state=State.DEAD, finished_at=now)
    assert not freshness.is_coming()
    assert not freshness.failed_since(now - timedelta(minutes=10))
    assert freshness.wanted(now)
