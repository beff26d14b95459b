"""Work that a worker holds under a lease when it is killed."""

from django.utils import timezone

from labqueue.base.models import OutboxRow
from tests.harness.waiting import wait_for

State = OutboxRow.State


def computing(row: OutboxRow, attempt: int = 1) -> None:
    """Wait until a worker is in the middle of it: the row is claimed, and nothing is published."""
    claimed = OutboxRow.objects.filter(pk=row.pk, state=State.RUNNING, attempt=attempt)
    wait_for(claimed.exists, 60, f"a worker to claim the {row.kind}", every=0.002)


def let_the_lease_run_out(row: OutboxRow) -> None:
    """As if its minute had passed."""
    OutboxRow.objects.filter(pk=row.pk, state=State.RUNNING).update(lease_until=timezone.now())


def done(row: OutboxRow, seconds: float = 60) -> None:
    """Wait until its result is published."""
    wait_for(OutboxRow.objects.filter(pk=row.pk, state=State.DONE).exists, seconds, f"the {row.kind}")
