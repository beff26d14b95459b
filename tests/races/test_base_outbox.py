"""The outbox while others leave work behind and claim it at the same moment: nothing is lost and nothing done twice."""

import time
from datetime import timedelta

import pytest
from django.db import transaction
from django.db.models import F
from django.utils import timezone

from labqueue.base import outbox, tasks
from labqueue.base.models import OutboxRow, Series
from tests.races.together import beside, together, without_row_locks

pytestmark = pytest.mark.django_db(transaction=True)

THREADS = 16
State = OutboxRow.State


@pytest.fixture(autouse=True)
def world(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Work that copies the number of changes to the number that was seen. Gives what each attempt read."""
    read: list[int] = []

    def work(row: OutboxRow) -> outbox.Publish:
        changes = Series.objects.get(name="changes").last
        read.append(changes)
        return lambda: void(Series.objects.filter(name="seen").update(last=changes))

    monkeypatch.setitem(outbox.HANDLERS, "copy", outbox.Handler(work, lease=60))
    monkeypatch.setattr(tasks.run_outbox, "apply_async", lambda *args, **options: None)
    Series.objects.bulk_create([Series(name="changes"), Series(name="seen")])
    return read


def void(value: object) -> None:
    """For a lambda that returns nothing."""


def change(number: int = 0) -> OutboxRow:
    """Change something and leave the work behind, in the caller's transaction."""
    Series.objects.filter(name="changes").update(last=F("last") + 1)
    return outbox.put("copy", "press")


def change_and_commit(number: int = 0) -> OutboxRow:
    """The same in a transaction of its own."""
    with transaction.atomic():
        return change()


def value(name: str) -> int:
    """The number as it stands."""
    return Series.objects.get(name=name).last


def drain() -> None:
    """Do what is due until nothing is."""
    while ids := outbox.sweep():
        for row_id in ids:
            outbox.run(row_id)


def test_many_who_put_the_same_make_one_row() -> None:
    rows = together(THREADS, change_and_commit)
    assert {row.pk for row in rows} == {OutboxRow.objects.get().pk}
    assert value("changes") == THREADS


def test_many_who_run_the_same_row_do_it_once(world: list[int]) -> None:
    row = change_and_commit()
    assert together(THREADS, lambda number: outbox.run(row.pk)).count(True) == 1
    assert world == [1]
    assert OutboxRow.objects.get().attempt == 1


def test_many_who_take_over_from_a_dead_worker_do_it_once(world: list[int]) -> None:
    row = change_and_commit()
    outbox.claim(row.pk)
    OutboxRow.objects.update(lease_until=timezone.now() - timedelta(seconds=1))
    assert together(THREADS, lambda number: outbox.run(row.pk)).count(True) == 1
    assert world == [1]
    assert OutboxRow.objects.get().attempt == 2


def test_work_put_while_workers_claim_it_is_never_lost() -> None:
    """Half of the threads change and put, the others run: at the end the last change was seen."""
    writers = THREADS // 2

    def one(number: int) -> None:
        for _ in range(10):
            if number < writers:
                change_and_commit()
            else:
                for row_id in outbox.sweep():
                    outbox.run(row_id)

    together(THREADS, one)
    drain()
    assert value("changes") == writers * 10
    assert value("seen") == value("changes")
    assert set(OutboxRow.objects.values_list("state", flat=True)) == {State.DONE}


@pytest.mark.postgres
def test_a_row_that_a_transaction_has_put_cannot_be_claimed_before_its_commit(world: list[int]) -> None:
    row = change_and_commit()
    with transaction.atomic():
        assert change().pk == row.pk
        assert together(1, lambda number: outbox.run(row.pk)) == [False]
    assert outbox.run(row.pk)
    assert world == [2]
    assert value("seen") == value("changes") == 2


@pytest.mark.postgres
def test_control_without_the_lock_the_change_is_lost(world: list[int], monkeypatch: pytest.MonkeyPatch) -> None:
    without_row_locks(monkeypatch)
    row = change_and_commit()
    with transaction.atomic():
        assert change().pk == row.pk
        assert together(1, lambda number: outbox.run(row.pk)) == [True]
    drain()
    assert world == [1]
    assert (value("seen"), value("changes")) == (1, 2)


@pytest.mark.postgres
def test_a_row_claimed_between_the_two_statements_of_a_put_is_followed_by_a_new_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    first = change_and_commit()
    insert = OutboxRow.objects.bulk_create

    def insert_then_claim(rows: list[OutboxRow], ignore_conflicts: bool) -> list[OutboxRow]:
        made = insert(rows, ignore_conflicts=ignore_conflicts)
        monkeypatch.setattr(OutboxRow.objects, "bulk_create", insert)
        together(1, lambda number: OutboxRow.objects.filter(pk=first.pk).update(**running()))
        return made

    monkeypatch.setattr(OutboxRow.objects, "bulk_create", insert_then_claim)
    second = change_and_commit()
    assert second.pk != first.pk
    assert [row.state for row in OutboxRow.objects.order_by("pk")] == [State.RUNNING, State.QUEUED]


def running() -> dict[str, object]:
    """What a claim sets."""
    return {"state": State.RUNNING, "attempt": 1, "lease_until": timezone.now() + timedelta(minutes=1)}


@pytest.mark.postgres
def test_a_failed_row_is_replaced_by_one_that_is_just_being_put() -> None:
    failed = outbox.claim(change_and_commit().pk)
    assert failed is not None
    with transaction.atomic():
        anew = change()
        given_back = beside(lambda: outbox.give_back(failed, "no steam"))
        time.sleep(0.1)
        assert OutboxRow.objects.get(pk=failed.pk).state == State.RUNNING
    given_back()
    states = {row.pk: row.state for row in OutboxRow.objects.all()}
    assert states == {failed.pk: State.REPLACED, anew.pk: State.QUEUED}


@pytest.mark.postgres
def test_a_failed_row_goes_back_where_the_one_being_put_is_rolled_back() -> None:
    failed = outbox.claim(change_and_commit().pk)
    assert failed is not None
    with transaction.atomic():
        change()
        given_back = beside(lambda: outbox.give_back(failed, "no steam"))
        time.sleep(0.1)
        transaction.set_rollback(True)
    given_back()
    row = OutboxRow.objects.get()
    assert (row.pk, row.state, row.error) == (failed.pk, State.QUEUED, "no steam")


@pytest.mark.postgres
def test_a_row_that_is_being_published_cannot_be_claimed(world: list[int]) -> None:
    row = outbox.claim(change_and_commit().pk)
    assert row is not None
    OutboxRow.objects.update(lease_until=timezone.now() - timedelta(seconds=1))
    claims: list[object] = []
    assert outbox.finish(row, lambda: claims.extend(together(1, lambda number: outbox.claim(row.pk))))
    assert claims == [None]
    assert OutboxRow.objects.get().state == State.DONE
