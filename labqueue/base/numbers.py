"""Number series without gaps."""

from labqueue.base import transactions
from labqueue.base.models import Series


def next_number(name: str) -> int:
    """The next number of series `name`, from 1. Call it as late as possible: the series stays locked until the commit.

    A transaction that is rolled back gives its number back, so the series has no gap.
    Raises django.db.transaction.TransactionManagementError outside a transaction.
    """
    transactions.required("a number is drawn in the transaction of what bears it")
    series, _ = Series.objects.select_for_update(no_key=True).get_or_create(name=name)
    series.last += 1
    series.save(update_fields=["last"])
    return series.last
