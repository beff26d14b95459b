"""The promise to an order by a real worker process, which is killed in the middle of it."""

from collections.abc import Callable

import pytest
from django.utils import timezone

from labqueue.base.models import OutboxRow
from labqueue.planning import promise
from labqueue.planning.models import Promise
from orders import seal
from orders.intake import edit_draft
from orders.models import Case
from tests import cast
from tests.faults.leases import computing, done, let_the_lease_run_out
from tests.harness.worker import Worker, kill_process
from tests.orders import build
from tests.production.build import released_case

pytestmark = pytest.mark.django_db(transaction=True)
State = OutboxRow.State
NewWorker = Callable[..., Worker]
SLOW = ("--include", "tests.faults.many_futures,tests.faults.impatience")
QUICK = ("--include", "tests.faults.impatience")


def state_of(case: Case) -> str:
    """What the practice is told."""
    return promise.standing(cast.assistant(), case, timezone.now()).state


def asked() -> tuple[Case, OutboxRow]:
    """An order whose practice has looked at what can be promised, and the work that it waits for."""
    released_case(patient_ref="K-1")
    case = build.draft_case(patient_ref="K-2")
    assert state_of(case) == "queued"
    return case, OutboxRow.objects.get(kind=promise.KIND)


def assert_still_coming(case: Case, row: OutboxRow) -> None:
    """It was killed before it had published; who looks meanwhile asks for no second."""
    assert not Promise.objects.exists()
    assert state_of(case) == "queued"
    assert OutboxRow.objects.get(kind=promise.KIND) == row


def assert_made_once(case: Case, row: OutboxRow) -> None:
    """The second attempt has published one promise, to the draft as it is, and there is no other work."""
    done(row)
    row.refresh_from_db()
    assert (row.attempt, row.error) == (2, "")
    made = Promise.objects.get()
    assert case.draft is not None
    assert (made.case, made.mark) == (case, seal.mark(case, case.draft))
    assert made.seat_from is not None
    assert state_of(case) == "ready"
    assert OutboxRow.objects.get(kind=promise.KIND) == row


def test_a_worker_killed_in_the_middle_is_made_up_for_by_the_next_once(new_worker: NewWorker) -> None:
    worker = new_worker(*SLOW)
    case, row = asked()
    computing(row)
    worker.kill()
    assert_still_coming(case, row)
    let_the_lease_run_out(row)
    new_worker("--beat", *QUICK)
    assert_made_once(case, row)


def test_a_pool_process_killed_in_the_middle_is_made_up_for_with_the_draft_of_then(new_worker: NewWorker) -> None:
    worker = new_worker("--concurrency", "1", "--beat", *SLOW)
    case, row = asked()
    computing(row)
    for pid in worker.pool():
        kill_process(pid)
    assert_still_coming(case, row)
    edit_draft(cast.assistant(), case, **build.order(patient_ref="K-2", items=[build.screw_crown("9")]))
    case.refresh_from_db()
    let_the_lease_run_out(row)
    assert_made_once(case, row)
