"""The last word of planning on each case, kept beside the case so that lists can show it."""

from collections.abc import Collection, Iterable
from datetime import datetime

from django.db.models import Q

from orders.models import Case, Outlook

FIELDS = ["late", "late_low", "late_high", "p50", "p80", "p95", "reason", "made_at"]


def record(rows: Iterable[Outlook]) -> None:
    """Write the outlooks, one per case, over what was there: rows that are not saved yet, each with its `case`."""
    Outlook.objects.bulk_create(rows, update_conflicts=True, unique_fields=["case"], update_fields=FIELDS)


def clear(forecast: Collection[Case.State], reason: str, made_at: datetime) -> int:
    """Take back the figures of the cases that are in none of the `forecast` states any more; how many.

    Else a case that has left would be shown for ever with the risk that it had last.
    """
    figures = ("late", "late_low", "late_high", "p50", "p80", "p95")
    stale = Outlook.objects.filter(Q(late__isnull=False) | Q(p50__isnull=False)).exclude(case__state__in=forecast)
    return stale.update(**dict.fromkeys(figures), reason=reason, made_at=made_at)
