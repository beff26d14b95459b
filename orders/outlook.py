"""The last word of planning on each case, kept beside the case so that lists can show it."""

from collections.abc import Iterable

from orders.models import Outlook

FIELDS = ["late", "late_low", "late_high", "p50", "p80", "p95", "reason", "made_at"]


def record(rows: Iterable[Outlook]) -> None:
    """Write the outlooks, one per case, over what was there: rows that are not saved yet, each with its `case`."""
    Outlook.objects.bulk_create(rows, update_conflicts=True, unique_fields=["case"], update_fields=FIELDS)
