"""Any order of changes, claims, deaths and late results: the last change is seen, and nothing newer is overwritten."""

from datetime import timedelta

import pytest
from django.db import transaction
from django.db.models import F
from django.utils import timezone
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, invariant, multiple, rule, run_state_machine_as_test

from labqueue.base import outbox
from labqueue.base.models import OutboxRow, Series

State = OutboxRow.State
# A worker: the row that it claimed, and the number of changes that it computed with.
Worker = tuple[OutboxRow, int]
PAST = timedelta(seconds=-1)


def value(name: str) -> int:
    """A number as it stands."""
    return Series.objects.get(name=name).last


class Outbox(RuleBasedStateMachine):
    """One subject, whose work copies the number of changes to the number that was seen."""

    workers = Bundle("workers")

    def __init__(self) -> None:
        super().__init__()
        OutboxRow.objects.all().delete()
        Series.objects.all().delete()
        Series.objects.bulk_create([Series(name="changes"), Series(name="seen")])
        self.seen = 0
        self.last_put = 0
        self.published: list[int] = []

    @rule(commits=st.booleans())
    def change(self, commits: bool) -> None:
        """A verb changes something and leaves work behind; or it is rolled back."""
        with transaction.atomic():
            Series.objects.filter(name="changes").update(last=F("last") + 1)
            row = outbox.put("copy", "press")
            transaction.set_rollback(not commits)
        self.last_put = row.pk if commits else self.last_put

    @rule(target=workers, which=st.integers(0, 5), late=st.booleans())
    def claim(self, which: int, late: bool) -> object:
        """A message arrives, for whichever row, and the worker computes."""
        if late:
            self.time_passes()
        ids = OutboxRow.objects.order_by("-pk").values_list("pk", flat=True)
        row = outbox.claim(ids[which % len(ids)]) if ids else None
        return multiple() if row is None else (row, value("changes"))

    @rule(worker=workers)
    def finish(self, worker: Worker) -> None:
        """A worker comes to its end, however late, and perhaps for the second time."""
        row, computed = worker
        outbox.finish(row, lambda: self.publish(row, computed))

    def publish(self, row: OutboxRow, computed: int) -> None:
        """Write the result: once for each row, and only by the attempt that took it last."""
        assert row.pk not in self.published
        assert row.attempt == OutboxRow.objects.get(pk=row.pk).attempt
        self.published.append(row.pk)
        Series.objects.filter(name="seen").update(last=computed)

    @rule(worker=workers)
    def fail(self, worker: Worker) -> None:
        """A worker fails."""
        outbox.give_back(worker[0], "no steam")

    @rule(worker=workers)
    def extend(self, worker: Worker) -> None:
        """A worker asks for more time; it is told whether it still holds the row."""
        holds = outbox.held(worker[0]).exists()
        try:
            outbox.extend(worker[0])
        except outbox.LeaseLost:
            assert not holds
        else:
            assert holds

    def time_passes(self) -> None:
        """All leases run out and all waits are over."""
        now = timezone.now() + PAST
        OutboxRow.objects.filter(state=State.RUNNING).update(lease_until=now)
        OutboxRow.objects.filter(state=State.QUEUED).update(due_at=now)

    @invariant()
    def nothing_older_is_written_over_something_newer(self) -> None:
        """What was seen only grows."""
        seen = value("seen")
        assert self.seen <= seen <= value("changes")
        self.seen = seen

    @invariant()
    def no_row_is_tried_more_than_three_times(self) -> None:
        """Whatever kills its workers comes to an end."""
        assert not OutboxRow.objects.filter(attempt__gt=outbox.HANDLERS["copy"].attempts).exists()

    def teardown(self) -> None:
        """When all is quiet the last change was seen, unless its work was set aside, which somebody is told."""
        for _ in range(10):
            self.time_passes()
            for row_id in OutboxRow.objects.filter(outbox.due()).values_list("pk", flat=True):
                outbox.run(row_id)
        assert not OutboxRow.objects.filter(state__in=[State.QUEUED, State.RUNNING]).exists()
        if self.last_put and OutboxRow.objects.get(pk=self.last_put).state != State.DEAD:
            assert value("seen") == value("changes")


@pytest.mark.django_db
def test_the_outbox_in_any_order_of_events(monkeypatch: pytest.MonkeyPatch) -> None:
    def work(row: OutboxRow) -> outbox.Publish:
        changes = value("changes")

        def publish() -> None:
            Series.objects.filter(name="seen").update(last=changes)

        return publish

    monkeypatch.setitem(outbox.HANDLERS, "copy", outbox.Handler(work, lease=60))
    run_state_machine_as_test(
        Outbox, settings=settings(max_examples=40, stateful_step_count=25, deadline=None, derandomize=True)
    )
