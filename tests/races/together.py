"""Threads that work on one database at the same time, each on a connection of its own."""

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import pytest
from django.db import connection
from django.db.models import QuerySet

T = TypeVar("T")
SECONDS = 30


def together(count: int, work: Callable[[int], T]) -> list[T]:
    """`work(0)` to `work(count - 1)`, each in its own thread, started at the same moment; their results in that order."""
    start = threading.Barrier(count)

    def one(number: int) -> T:
        start.wait(SECONDS)
        return on_own_connection(lambda: work(number))

    with ThreadPoolExecutor(count) as pool:
        return list(pool.map(one, range(count), timeout=SECONDS * 2))


def on_own_connection(work: Callable[[], T]) -> T:
    """`work()`; the connection of this thread is closed behind it."""
    try:
        return work()
    finally:
        connection.close()


class Beside:
    """`with Beside(work) as other`: `work` runs in a thread of its own; at the end it must have ended without an error."""

    def __init__(self, work: Callable[[], object]) -> None:
        self.work = work
        self.pool = ThreadPoolExecutor(1)

    def __enter__(self) -> "Beside":
        self.result = self.pool.submit(on_own_connection, self.work)
        return self

    def __exit__(self, *error: object) -> None:
        try:
            self.result.result(SECONDS)
        finally:
            self.pool.shutdown()


def without_row_locks(monkeypatch: pytest.MonkeyPatch) -> None:
    """The positive control: the same code with its row locks taken off, in which the race must show."""
    monkeypatch.setattr(QuerySet, "select_for_update", lambda self, **options: self)
