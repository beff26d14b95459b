"""Changes that are only right together belong into one transaction; who needs one says so here."""

from django.db import transaction


def required(why: str) -> None:
    """Raise django.db.transaction.TransactionManagementError, before anything is written, outside a transaction."""
    if not transaction.get_connection().in_atomic_block:
        raise transaction.TransactionManagementError(why)
