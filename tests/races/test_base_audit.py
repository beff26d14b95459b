"""One audit chain with many writers: it never forks."""

import threading
import time

import pytest
from django.db import IntegrityError, transaction

from labqueue.base import audit
from labqueue.base.models import Chain, Event
from tests.races.together import beside, together, without_row_locks

pytestmark = pytest.mark.django_db(transaction=True)

THREADS, EACH = 16, 5


def write(number: int) -> int:
    """Append events, each in its own transaction; how many the database refused."""
    refused = 0
    for turn in range(EACH):
        try:
            with transaction.atomic():
                audit.record("press", "write", None, after={"thread": number, "turn": turn})
        except IntegrityError:
            refused += 1
    return refused


@pytest.fixture
def slow_seal(monkeypatch: pytest.MonkeyPatch) -> None:
    """A little time between reading the head and writing the event."""
    seal = audit.seal

    def slow(event: Event) -> str:
        time.sleep(0.002)
        return seal(event)

    monkeypatch.setattr(audit, "seal", slow)


def test_sixteen_writers_make_one_chain(slow_seal: None) -> None:
    assert sum(together(THREADS, write)) == 0
    chain = Chain.objects.get()
    assert chain.length == THREADS * EACH
    assert audit.verify(chain) is None
    facts = {(event.after["thread"], event.after["turn"]) for event in Event.objects.all()}
    assert len(facts) == THREADS * EACH


@pytest.mark.postgres
def test_control_without_the_lock_it_would_fork(slow_seal: None, monkeypatch: pytest.MonkeyPatch) -> None:
    without_row_locks(monkeypatch)
    assert sum(together(THREADS, write)) > 0


@pytest.mark.postgres
def test_verifying_waits_for_a_writer_and_sees_a_whole_chain() -> None:
    with transaction.atomic():
        audit.record("press", "first", None)
    chain = Chain.objects.get()
    done = threading.Event()

    def verify() -> audit.Break | None:
        found = audit.verify(chain)
        done.set()
        return found

    with transaction.atomic():
        audit.record("press", "second", None)
        found = beside(verify)
        assert not done.wait(0.2)
    assert found() is None
    assert done.is_set()
