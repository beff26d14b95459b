"""A forecast by a real worker process, which is killed in the middle of it."""

from collections.abc import Callable

import pytest

from labqueue.base.models import OutboxRow
from labqueue.planning import freshness
from labqueue.planning.models import Forecast, Prediction
from orders.models import Case, Outlook
from tests.faults.leases import computing, done, let_the_lease_run_out
from tests.harness.waiting import wait_for
from tests.harness.worker import Worker, kill_process
from tests.production.build import released_case

pytestmark = pytest.mark.django_db(transaction=True)
State = OutboxRow.State
NewWorker = Callable[..., Worker]
SLOW = ("--include", "tests.faults.many_futures,tests.faults.impatience")
QUICK = ("--include", "tests.faults.impatience")


def assert_made_once(row: OutboxRow, case: Case, attempt: int) -> None:
    """The row is done by that attempt, and there is one forecast, which speaks of the case once."""
    row.refresh_from_db()
    assert (row.state, row.attempt, row.error) == (State.DONE, attempt, "")
    forecast = Forecast.objects.get()
    assert [said.case for said in Prediction.objects.filter(forecast=forecast)] == [case]
    assert Outlook.objects.get(case=case).made_at == forecast.shop_at


def test_a_change_on_the_floor_becomes_a_forecast_by_itself(new_worker: NewWorker) -> None:
    case = released_case()
    new_worker("--beat")
    wait_for(Outlook.objects.filter(case=case).exists, 60, "an outlook of the case")
    said = Outlook.objects.get(case=case)
    assert said.late == 0.0
    assert Forecast.objects.filter(shop_at=said.made_at, replications=1000).count() == 1


def test_a_worker_killed_in_the_middle_is_made_up_for_by_the_next_once(new_worker: NewWorker) -> None:
    case = released_case()
    worker = new_worker(*SLOW)
    row = freshness.ask()
    computing(row)
    worker.kill()
    assert not Forecast.objects.exists(), "it was killed before it had published"
    assert OutboxRow.objects.get(pk=row.pk).state == State.RUNNING
    let_the_lease_run_out(row)
    new_worker("--beat", *QUICK)
    done(row)
    assert_made_once(row, case, attempt=2)


def test_a_pool_process_killed_in_the_middle_is_made_up_for_once(new_worker: NewWorker) -> None:
    case = released_case()
    worker = new_worker("--concurrency", "1", "--beat", *SLOW)
    row = freshness.ask()
    computing(row)
    for pid in worker.pool():
        kill_process(pid)
    assert not Forecast.objects.exists(), "it was killed before it had published"
    let_the_lease_run_out(row)
    done(row)
    assert_made_once(row, case, attempt=2)
