"""Moves from state to state: the table decides, compare-and-set guards, and the audit trail tells."""

import pytest
from django.db import transaction
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Conflict
from labqueue.base.models import Event, OutboxRow
from labqueue.base.moves import Moves, move
from tests.cast import technician

pytestmark = pytest.mark.django_db
State = OutboxRow.State

# The outbox table is the one of this room that has states; these moves are the test's own.
MOVES: Moves = {
    State.QUEUED: frozenset({State.DONE, State.DEAD}),
    State.DONE: frozenset({State.DEAD}),
}


@pytest.fixture
def row() -> OutboxRow:
    """A queued row."""
    return OutboxRow.objects.create(kind="press", subject="1", due_at=timezone.now())


def unchanged(row: OutboxRow) -> bool:
    """Whether nothing was written: neither the row nor an event."""
    kept = OutboxRow.objects.get(pk=row.pk)
    return (kept.state, kept.error) == (State.QUEUED, "") and not Event.objects.exists()


def test_a_move_takes_its_changes_with_it_and_is_told(row: OutboxRow) -> None:
    person = technician()
    now = timezone.now()
    move(row, State.DONE, verb="finish", actor=person, moves=MOVES, finished_at=now, error="none")
    kept = OutboxRow.objects.get(pk=row.pk)
    for seen in (row, kept):
        assert (seen.state, seen.finished_at, seen.error) == (State.DONE, now, "none")
    (event,) = audit.trail(row)
    assert (event.verb, event.actor) == ("finish", person)
    assert event.before == {"state": "queued"}
    assert event.after == {"state": "done", "finished_at": audit.instant(now), "error": "none"}


def test_one_move_after_another(row: OutboxRow) -> None:
    move(row, State.DONE, verb="finish", actor=None, moves=MOVES)
    move(row, State.DEAD, verb="end", actor=None, moves=MOVES)
    assert [event.after["state"] for event in audit.trail(row)] == ["done", "dead"]


@pytest.mark.parametrize("to", [State.RUNNING, State.QUEUED, "nonsense"])
def test_a_move_that_the_table_does_not_know_is_refused(row: OutboxRow, to: str) -> None:
    with pytest.raises(Conflict, match=f"is queued and cannot become {to}: only dead or done") as caught:
        move(row, to, verb="jump", actor=None, moves=MOVES)
    assert [fault.code for fault in caught.value.faults] == ["state"]
    assert unchanged(row)
    assert row.state == State.QUEUED


def test_from_a_last_state_nothing_moves(row: OutboxRow) -> None:
    OutboxRow.objects.update(state=State.DEAD)
    row.refresh_from_db()
    with pytest.raises(Conflict, match="is dead and cannot become done: it stays so"):
        move(row, State.DONE, verb="wake", actor=None, moves=MOVES)
    assert not Event.objects.exists()


def test_who_comes_second_is_refused(row: OutboxRow) -> None:
    other = OutboxRow.objects.get(pk=row.pk)
    move(other, State.DEAD, verb="end", actor=None, moves=MOVES)
    with pytest.raises(Conflict, match="was changed by somebody else a moment ago"):
        move(row, State.DONE, verb="finish", actor=None, moves=MOVES, error="second")
    kept = OutboxRow.objects.get(pk=row.pk)
    assert (kept.state, kept.error) == (State.DEAD, "")
    assert [event.verb for event in Event.objects.all()] == ["end"]


def test_a_row_that_is_gone_is_refused(row: OutboxRow) -> None:
    OutboxRow.objects.all().delete()
    with pytest.raises(Conflict, match="changed by somebody else"):
        move(row, State.DONE, verb="finish", actor=None, moves=MOVES)
    assert not Event.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_outside_a_transaction_nothing_moves(row: OutboxRow) -> None:
    with pytest.raises(transaction.TransactionManagementError, match="the transaction of its verb"):
        move(row, State.DONE, verb="finish", actor=None, moves=MOVES)
    assert unchanged(row)
