"""One row, many who would move it: one of them does."""

import threading

import pytest
from django.db import transaction
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Conflict
from labqueue.base.models import OutboxRow
from labqueue.base.moves import Moves, move
from tests.races.together import together

pytestmark = pytest.mark.django_db(transaction=True)

THREADS = 16
State = OutboxRow.State
MOVES: Moves = {State.QUEUED: frozenset({State.DONE})}


def race(write: "type[Guarded | Blind]") -> list[bool]:
    """All read the row, then all move it; who believes to have done it."""
    row = OutboxRow.objects.create(kind="press", subject="1", due_at=timezone.now())
    all_have_read = threading.Barrier(THREADS)

    def one(number: int) -> bool:
        mine = OutboxRow.objects.get(pk=row.pk)
        all_have_read.wait(30)
        try:
            with transaction.atomic():
                write.move(mine, f"thread {number}")
        except Conflict:
            return False
        return True

    return together(THREADS, one)


class Guarded:
    """The way of this house."""

    @staticmethod
    def move(row: OutboxRow, who: str) -> None:
        move(row, State.DONE, verb="finish", actor=None, moves=MOVES, error=who)


class Blind:
    """What everybody writes first: read, check, save."""

    @staticmethod
    def move(row: OutboxRow, who: str) -> None:
        if row.state == State.QUEUED:
            row.state, row.error = State.DONE, who
            row.save()


def test_one_of_sixteen_moves_the_row() -> None:
    won = race(Guarded)
    assert won.count(True) == 1
    row = OutboxRow.objects.get()
    (event,) = audit.trail(row)
    assert row.error == event.after["error"] == f"thread {won.index(True)}"


def test_control_without_compare_and_set_all_believe_they_did() -> None:
    assert race(Blind).count(True) == THREADS
