"""Scans in the trail of a case, as the floor records them."""

from typing import Any

from django.db import transaction

from labqueue.base import audit
from orders.models import Case
from tests import cast


@transaction.atomic
def scanned(case: Case, times: int = 1, **facts: Any) -> None:
    """Scans of the case's pieces as the floor records them: step by step, each started and ended."""
    for n in range(times):
        given = {"piece": f"26000010{n % 6:02d}", "step": "mill", "attempt": 1, "action": ("start", "done")[n % 2]}
        after = {**given, "lot": None, "station": "milling", **facts}
        audit.record(case, "scanned", cast.technician(), after=after)
