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
    """`work(0)` to `work(count - 1)`, each in its own thread, all started at once; their results in that order."""
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


def beside(work: Callable[[], T]) -> Callable[[], T]:
    """Begin `work` in a thread of its own. What is returned waits for its end: its result, or its error raised."""
    pool = ThreadPoolExecutor(1)
    future = pool.submit(on_own_connection, work)
    pool.shutdown(wait=False)
    return lambda: future.result(SECONDS)


def without_row_locks(monkeypatch: pytest.MonkeyPatch) -> None:
    """The positive control: the same code with its row locks taken off, in which the race must show."""
    monkeypatch.setattr(QuerySet, "select_for_update", lambda self, **options: self)
