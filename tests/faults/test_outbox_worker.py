"""The outbox on a real broker with real worker processes, which are killed in the middle of their work."""

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from django.db import transaction

from labqueue.base import outbox
from labqueue.base.models import ClosedDay, OutboxRow
from tests.harness.house import ROOT
from tests.harness.waiting import wait_for
from tests.harness.worker import Broker, Worker, kill_process, worker_environment

State = OutboxRow.State
pytestmark = pytest.mark.django_db(transaction=True)

CRASH = """
import os, django
django.setup()
from django.db import transaction
from labqueue.base import outbox
with transaction.atomic():
    transaction.on_commit(lambda: os._exit(9))
    outbox.put("faults.quick", "case:1")
"""


class Diary:
    """What the handlers wrote down: one (step, subject, attempt, process id) each."""

    def __init__(self, path: Path) -> None:
        self.path = path
        path.touch()

    def steps(self, step: str, subject: str = "case:1") -> list[tuple[int, int]]:
        """Attempt and process id of each such step."""
        lines = [line.split() for line in self.path.read_text().splitlines()]
        return [(int(attempt), int(pid)) for what, whose, attempt, pid in lines if (what, whose) == (step, subject)]


@pytest.fixture
def diary(tmp_path: Path) -> Diary:
    return Diary(tmp_path / "diary")


@pytest.fixture
def start_worker(new_worker: Callable[..., Worker], diary: Diary) -> Callable[[], Worker]:
    """Start a worker that knows the handlers of the fault tests and looks for work often."""
    modules = "tests.faults.handlers,tests.faults.impatience"

    def start() -> Worker:
        return new_worker("--beat", "--include", modules, FAULT_LOG=str(diary.path))

    return start


def put(kind: str, subject: str = "case:1") -> OutboxRow:
    """Leave work behind, in a transaction of its own."""
    with transaction.atomic():
        return outbox.put(kind, subject)


def wait_for_state(row: OutboxRow, state: str, seconds: float) -> OutboxRow:
    """The row, once it is in that state."""
    wait_for(lambda: OutboxRow.objects.filter(pk=row.pk, state=state).exists(), seconds, f"{row.kind} to be {state}")
    return OutboxRow.objects.get(pk=row.pk)


def assert_published_once(diary: Diary, row: OutboxRow) -> None:
    """One row in the database, and one transaction that wrote it."""
    assert ClosedDay.objects.filter(name=row.subject).count() == 1
    assert len(diary.steps("published", row.subject)) == 1


def test_work_is_done_by_another_process(start_worker: Callable[[], Worker], diary: Diary) -> None:
    worker = start_worker()
    row = wait_for_state(put("faults.quick"), State.DONE, 20)
    assert row.attempt == 1
    assert diary.steps("started")[0][1] in worker.pool()
    assert_published_once(diary, row)


def test_a_killed_pool_process_is_made_up_for(start_worker: Callable[[], Worker], diary: Diary) -> None:
    worker = start_worker()
    row = put("faults.slow_once")
    [(attempt, pid)] = wait_for(lambda: diary.steps("started"), 30)
    assert attempt == 1
    assert pid in worker.pool()
    kill_process(pid)
    row = wait_for_state(row, State.DONE, 45)
    assert row.attempt == 2
    assert [attempt for attempt, _ in diary.steps("started")] == [1, 2]
    assert_published_once(diary, row)


def test_a_killed_worker_is_made_up_for_by_the_next(start_worker: Callable[[], Worker], diary: Diary) -> None:
    worker = start_worker()
    row = put("faults.slow_once")
    wait_for(lambda: diary.steps("started"), 30)
    worker.kill()
    assert OutboxRow.objects.get(pk=row.pk).state == State.RUNNING
    start_worker()
    row = wait_for_state(row, State.DONE, 45)
    assert row.attempt == 2
    assert_published_once(diary, row)


def test_work_that_kills_its_process_is_set_aside(start_worker: Callable[[], Worker], diary: Diary) -> None:
    start_worker()
    poison = put("faults.poison", "case:poison")
    others = [put("faults.quick", f"case:{number}") for number in range(5)]
    for row in others:
        assert_published_once(diary, wait_for_state(row, State.DONE, 20))
    poison = wait_for_state(poison, State.DEAD, 120)
    assert poison.error
    assert [attempt for attempt, _ in diary.steps("started", "case:poison")] == [1, 2, 3]
    assert not diary.steps("published", "case:poison")
    assert_published_once(diary, wait_for_state(put("faults.quick", "case:after"), State.DONE, 20))


def test_a_broker_that_is_down_fails_nothing(broker: Broker, start_worker: Callable[[], Worker], diary: Diary) -> None:
    start_worker()
    broker.stop()
    start = time.monotonic()
    rows = [put("faults.quick", f"case:{number}") for number in range(10)]
    assert time.monotonic() - start < 3
    assert OutboxRow.objects.filter(state=State.QUEUED).count() == 10
    broker.start()
    for row in rows:
        assert_published_once(diary, wait_for_state(row, State.DONE, 45))


def test_a_crash_between_commit_and_message_loses_nothing(start_worker: Callable[[], Worker], diary: Diary) -> None:
    crashed = subprocess.run([sys.executable, "-c", CRASH], cwd=ROOT, env={**os.environ, **worker_environment()})
    assert crashed.returncode == 9
    row = OutboxRow.objects.get()
    assert row.state == State.QUEUED
    start_worker()
    assert_published_once(diary, wait_for_state(row, State.DONE, 45))


def test_two_workers_do_a_row_once(start_worker: Callable[[], Worker], diary: Diary) -> None:
    start_worker()
    start_worker()
    row = put("faults.quick")
    for _ in range(20):
        outbox.poke(row.pk)
    row = wait_for_state(row, State.DONE, 20)
    time.sleep(1)
    assert len(diary.steps("started")) == 1
    assert_published_once(diary, row)
