"""Work of the fault tests, loaded into a worker by `--include tests.faults.handlers`.

Each step leaves a line in the file that FAULT_LOG names, so that a test sees what really happened, in which process.
"""

import os
import signal
import time
from datetime import date, timedelta
from pathlib import Path

from labqueue.base import outbox
from labqueue.base.models import ClosedDay, OutboxRow


def note(step: str, row: OutboxRow) -> None:
    """Add one line: step, subject, attempt, process id."""
    with Path(os.environ["FAULT_LOG"]).open("a") as file:
        file.write(f"{step} {row.subject} {row.attempt} {os.getpid()}\n")


def published(row: OutboxRow) -> outbox.Publish:
    """What all kinds publish: a row of which the database allows one per outbox row."""

    def publish() -> None:
        ClosedDay.objects.create(day=date(2030, 1, 1) + timedelta(days=row.pk), name=row.subject)
        note("published", row)

    return publish


@outbox.handles("faults.slow_once", lease=3)
def slow_once(row: OutboxRow) -> outbox.Publish:
    """The first attempt takes very long; later ones are quick."""
    note("started", row)
    if row.attempt == 1:
        time.sleep(120)
    return published(row)


@outbox.handles("faults.poison", lease=1)
def poison(row: OutboxRow) -> outbox.Publish:
    """Kills the process that does it, each time."""
    note("started", row)
    os.kill(os.getpid(), signal.SIGKILL)
    raise AssertionError("the process is dead")


@outbox.handles("faults.quick", lease=5)
def quick(row: OutboxRow) -> outbox.Publish:
    """Nothing wrong with it."""
    note("started", row)
    return published(row)
