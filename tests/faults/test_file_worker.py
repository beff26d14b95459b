"""A scan looked at by a real worker process, which is killed in the middle of it."""

from collections.abc import Callable

import numpy as np
import pytest

from labqueue.base import files
from labqueue.base.models import OutboxRow
from orders.models import Attachment
from tests.faults.leases import done, let_the_lease_run_out
from tests.harness.waiting import wait_for
from tests.harness.worker import Worker
from tests.orders import build
from tests.orders.attachments import build as made

pytestmark = pytest.mark.django_db(transaction=True)
NewWorker = Callable[..., Worker]
SLOW = ("--include", "tests.faults.slow_looks,tests.faults.impatience")
QUICK = ("--beat", "--include", "tests.faults.impatience")
COPIES = 150


def sent() -> tuple[Attachment, OutboxRow]:
    """A scan of many triangles, and the work it waits for."""
    found = made.sent(build.draft_case(), made.stl(np.tile(made.triangles(), (COPIES, 1, 1))))
    return found, OutboxRow.objects.get(kind="attachment")


def in_the_middle(found: Attachment) -> None:
    """Wait until a worker has told how far it is."""
    wait_for(Attachment.objects.filter(pk=found.pk, progress__gt=0).exists, 60, "a worker to read some of the scan")


def assert_looked_at_once(found: Attachment, row: OutboxRow) -> None:
    """The second attempt has published all of it, and there is no other work."""
    done(row)
    row.refresh_from_db()
    found.refresh_from_db()
    assert (row.attempt, row.error) == (2, "")
    assert OutboxRow.objects.filter(kind="attachment").count() == 1
    assert (found.state, found.progress, found.facts["triangles"]) == ("ready", 100, 2208 * COPIES)
    assert files.open_file(found.preview).read(4) == b"\x89PNG"


def test_a_worker_killed_in_the_middle_is_made_up_for_by_the_next_once(new_worker: NewWorker) -> None:
    found, row = sent()
    worker = new_worker("--beat", *SLOW)
    in_the_middle(found)
    worker.kill()
    assert Attachment.objects.get(pk=found.pk).state == "checking", "it was killed before it had published"
    let_the_lease_run_out(row)
    new_worker(*QUICK)
    assert_looked_at_once(found, row)
