"""Numbers without gaps, one transaction at a time. Many at once: tests/races/test_base_numbers.py."""

import pytest
from django.db import transaction

from labqueue.base.models import Series
from labqueue.base.numbers import next_number

pytestmark = pytest.mark.django_db


def test_a_series_counts_from_one() -> None:
    assert [next_number("invoice 2026") for _ in range(3)] == [1, 2, 3]
    assert Series.objects.get().last == 3


def test_each_series_counts_for_itself() -> None:
    assert [next_number("invoice 2026"), next_number("invoice 2027"), next_number("invoice 2026")] == [1, 1, 2]


@pytest.mark.django_db(transaction=True)
def test_a_rolled_back_transaction_gives_its_number_back() -> None:
    with transaction.atomic():
        assert next_number("invoice 2026") == 1
        transaction.set_rollback(True)
    with transaction.atomic():
        assert next_number("invoice 2026") == 1


@pytest.mark.django_db(transaction=True)
def test_outside_a_transaction_no_number_is_drawn() -> None:
    with pytest.raises(transaction.TransactionManagementError, match="in the transaction of what bears it"):
        next_number("invoice 2026")
    assert not Series.objects.exists()
