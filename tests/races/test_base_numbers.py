"""Numbers without gaps while many draw at once and some roll back."""

import time
from typing import Any

import pytest
from django.db import transaction

from labqueue.base.models import Series
from labqueue.base.numbers import next_number
from tests.races.together import together, without_row_locks

pytestmark = pytest.mark.django_db(transaction=True)

THREADS, EACH = 16, 10


class Aborted(Exception):
    """The transaction did not come to its end."""


def draw(number: int) -> list[int]:
    """Draw in ten transactions, of which one is rolled back; the numbers that were committed."""
    kept = []
    for turn in range(EACH):
        try:
            with transaction.atomic():
                drawn = next_number("invoice")
                if turn == number % EACH:
                    raise Aborted
        except Aborted:
            continue
        kept.append(drawn)
    return kept


@pytest.fixture
def slow_write(monkeypatch: pytest.MonkeyPatch) -> None:
    """A little time between reading the series and writing it, in which others can read it too."""
    save = Series.save

    def slow(series: Series, **options: Any) -> None:
        time.sleep(0.005)
        save(series, **options)

    monkeypatch.setattr(Series, "save", slow)


def test_sixteen_threads_leave_no_gap_and_no_double(slow_write: None) -> None:
    numbers = sorted(number for kept in together(THREADS, draw) for number in kept)
    assert numbers == list(range(1, THREADS * (EACH - 1) + 1))
    assert Series.objects.get().last == len(numbers)


@pytest.mark.postgres
def test_control_without_the_lock_there_are_doubles(slow_write: None, monkeypatch: pytest.MonkeyPatch) -> None:
    without_row_locks(monkeypatch)
    numbers = [number for kept in together(THREADS, draw) for number in kept]
    assert len(set(numbers)) < len(numbers)
