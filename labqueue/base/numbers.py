"""Number series without gaps."""

from django.db import transaction

from labqueue.base.models import Series


def next_number(name: str) -> int:
    """The next number of series `name`, from 1. Call it as late as possible: the series stays locked until the commit.

    A transaction that is rolled back gives its number back, so the series has no gap.
    Raises django.db.transaction.TransactionManagementError outside a transaction.
    """
    if not transaction.get_connection().in_atomic_block:
        raise transaction.TransactionManagementError("a number is drawn in the transaction of what bears it")
    Series.objects.get_or_create(name=name)
    series = Series.objects.select_for_update().get(name=name)
    series.last += 1
    series.save(update_fields=["last"])
    return series.last
