"""The outbox step by step, in one process. Races: tests/races/test_base_outbox.py; real workers: tests/faults."""

import time
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from labqueue.base import audit, outbox, tasks
from labqueue.base.errors import Conflict
from labqueue.base.models import ClosedDay, OutboxRow
from tests import cast

State = OutboxRow.State
pytestmark = pytest.mark.django_db(transaction=True)

Sent = list[int]
SEND = tasks.run_outbox.apply_async


class Press:
    """A handler under the test's control. What it publishes is a closed day that bears the subject's name."""

    def __init__(self) -> None:
        self.seen: list[tuple[int, dict[str, object]]] = []
        self.meanwhile: Callable[[OutboxRow], None] = lambda row: None
        self.publishing: Callable[[], None] = lambda: None

    def work(self, row: OutboxRow) -> outbox.Publish:
        """Note the attempt, let the test do something, and return what writes the result."""
        self.seen.append((row.attempt, row.payload))
        self.meanwhile(row)

        def publish() -> None:
            day = timezone.localdate() + timedelta(days=ClosedDay.objects.count())
            ClosedDay.objects.create(day=day, name=row.subject)
            self.publishing()

        return publish

    @property
    def published(self) -> list[str]:
        """The subjects whose result was written, in order."""
        return list(ClosedDay.objects.order_by("pk").values_list("name", flat=True))


@pytest.fixture
def press(monkeypatch: pytest.MonkeyPatch) -> Press:
    """The handler of `press`."""
    press = Press()
    monkeypatch.setitem(outbox.HANDLERS, "press", outbox.Handler(press.work, lease=60))
    return press


@pytest.fixture(autouse=True)
def sent(monkeypatch: pytest.MonkeyPatch) -> Sent:
    """Instead of a broker: the ids of the rows of which a worker would be told."""
    sent: Sent = []

    def note(args: tuple[int], **options: Any) -> None:
        sent.append(args[0])

    monkeypatch.setattr(tasks.run_outbox, "apply_async", note)
    return sent


def put(subject: str = "case:1", payload: dict[str, object] | None = None, kind: str = "press") -> OutboxRow:
    """Leave work behind, in a transaction of its own."""
    with transaction.atomic():
        return outbox.put(kind, subject, payload)


def now(row: OutboxRow) -> OutboxRow:
    """The row as the database has it."""
    return OutboxRow.objects.get(pk=row.pk)


def make_due(row: OutboxRow) -> None:
    """As if its back-off had passed."""
    OutboxRow.objects.filter(pk=row.pk).update(due_at=timezone.now() - timedelta(seconds=1))


def lose_lease(row: OutboxRow) -> None:
    """As if its worker had taken longer than the lease."""
    OutboxRow.objects.filter(pk=row.pk).update(lease_until=timezone.now() - timedelta(seconds=1))


def fail(row: OutboxRow) -> None:
    """What a broken handler does."""
    raise ValueError("no\0 steam")


# Leaving work behind


def test_a_worker_is_told_after_the_commit(sent: Sent) -> None:
    with transaction.atomic():
        row = outbox.put("press", "case:1", {"tooth": 11})
        assert sent == []
    assert sent == [row.pk]
    assert (now(row).state, now(row).payload, now(row).attempt) == (State.QUEUED, {"tooth": 11}, 0)


def test_a_second_put_makes_no_second_row(sent: Sent) -> None:
    first, second = put(), put()
    assert first.pk == second.pk
    assert OutboxRow.objects.count() == 1
    assert sent == [first.pk, first.pk]


def test_the_last_payload_counts() -> None:
    row = put(payload={"version": 1})
    put(payload={"version": 2})
    assert now(row).payload == {"version": 2}
    put()
    assert now(row).payload == {}


def test_other_subjects_and_kinds_have_their_own_rows() -> None:
    put("case:1"), put("case:2"), put("case:1", kind="oven")
    assert OutboxRow.objects.count() == 3


@pytest.mark.parametrize("state", [State.DONE, State.DEAD, State.REPLACED, State.RUNNING])
def test_work_that_has_begun_takes_no_more_on(state: str) -> None:
    first = put()
    OutboxRow.objects.update(state=state, lease_until=timezone.now())
    assert put().pk != first.pk
    assert now(first).state == state


def test_a_put_that_is_rolled_back_leaves_nothing(sent: Sent) -> None:
    with transaction.atomic():
        outbox.put("press", "case:1")
        transaction.set_rollback(True)
    assert not OutboxRow.objects.exists()
    assert sent == []


def test_a_put_onto_a_queued_row_that_is_rolled_back_leaves_the_row_as_it_was(sent: Sent) -> None:
    row = put(payload={"version": 1})
    with transaction.atomic():
        outbox.put("press", "case:1", {"version": 2})
        transaction.set_rollback(True)
    assert now(row).payload == {"version": 1}
    assert sent == [row.pk]


def test_outside_a_transaction_nothing_is_left_behind(sent: Sent) -> None:
    with pytest.raises(transaction.TransactionManagementError, match="the transaction of their change"):
        outbox.put("press", "case:1")
    assert not OutboxRow.objects.exists()
    assert sent == []


def test_a_broker_that_is_away_neither_fails_nor_holds_a_put(
    press: Press, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(tasks.run_outbox, "apply_async", SEND)
    begin = time.monotonic()
    row = put()
    put()
    assert time.monotonic() - begin < 3
    assert f"outbox row {row.pk} waits for the sweep" in caplog.text
    assert outbox.run(row.pk)


# Doing it


def test_a_row_is_done_and_published_once(press: Press) -> None:
    row = put(payload={"tooth": 11})
    assert outbox.run(row.pk)
    assert not outbox.run(row.pk)
    assert press.seen == [(1, {"tooth": 11})]
    assert press.published == ["case:1"]
    done = now(row)
    assert (done.state, done.attempt, done.lease_until, done.error) == (State.DONE, 1, None, "")
    assert done.finished_at is not None


def test_the_task_does_the_row(press: Press) -> None:
    row = put()
    tasks.run_outbox(row.pk)
    assert now(row).state == State.DONE


def test_a_row_that_is_not_there_or_not_due_is_left_alone(press: Press) -> None:
    row = put()
    OutboxRow.objects.update(due_at=timezone.now() + timedelta(minutes=1))
    assert not outbox.run(row.pk)
    assert not outbox.run(row.pk + 1)
    assert press.seen == []
    assert now(row).attempt == 0


def test_a_running_row_is_left_alone_while_its_lease_lasts(press: Press) -> None:
    row = put()
    claimed = outbox.claim(row.pk)
    assert claimed is not None
    assert claimed.lease_until is not None
    assert timedelta(seconds=55) < claimed.lease_until - timezone.now() <= timedelta(seconds=60)
    assert outbox.claim(row.pk) is None
    assert now(row).attempt == 1


def test_a_row_whose_worker_died_is_done_again(press: Press) -> None:
    row = put()
    outbox.claim(row.pk)
    lose_lease(row)
    assert outbox.run(row.pk)
    assert press.seen == [(2, {})]
    assert press.published == ["case:1"]


def test_work_that_nobody_here_knows_waits_for_who_does(press: Press, caplog: pytest.LogCaptureFixture) -> None:
    row = put(kind="kiln")
    assert not outbox.run(row.pk)
    assert (now(row).state, now(row).attempt) == (State.QUEUED, 0)
    assert "there is no handler for kiln" in caplog.text
    assert outbox.sweep() == []


def test_the_decorator_registers_its_function(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(outbox, "HANDLERS", {})

    @outbox.handles("press", lease=5)
    def work(row: OutboxRow) -> outbox.Publish:
        return lambda: None

    assert {"press": outbox.Handler(work, 5)} == outbox.HANDLERS


# Two attempts at one row


def test_a_slow_attempt_does_not_publish_over_the_one_that_took_over(press: Press) -> None:
    row = put()
    slow = outbox.claim(row.pk)
    assert slow is not None
    late = press.work(slow)
    lose_lease(row)
    assert outbox.run(row.pk)
    assert not outbox.finish(slow, late)
    assert press.published == ["case:1"]
    assert (now(row).state, now(row).attempt) == (State.DONE, 2)


def test_a_slow_attempt_does_not_publish_while_another_computes(press: Press) -> None:
    row = put()
    slow = outbox.claim(row.pk)
    lose_lease(row)
    second = outbox.claim(row.pk)
    assert slow is not None
    assert second is not None
    assert not outbox.finish(slow, press.work(slow))
    assert press.published == []
    assert outbox.finish(second, press.work(second))
    assert press.published == ["case:1"]


def test_a_slow_attempt_publishes_if_nobody_took_over(press: Press) -> None:
    row = put()
    slow = outbox.claim(row.pk)
    assert slow is not None
    lose_lease(row)
    assert outbox.finish(slow, press.work(slow))
    assert not outbox.run(row.pk)
    assert press.published == ["case:1"]


def test_a_slow_attempt_that_fails_does_not_disturb_the_one_that_took_over(press: Press) -> None:
    row = put()
    slow = outbox.claim(row.pk)
    lose_lease(row)
    second = outbox.claim(row.pk)
    assert slow is not None
    assert second is not None
    outbox.give_back(slow, "late")
    assert (now(row).state, now(row).attempt, now(row).error) == (State.RUNNING, 2, "")
    assert outbox.finish(second, press.work(second))


def test_a_lease_can_be_extended(press: Press) -> None:
    row = put()

    def long(claimed: OutboxRow) -> None:
        lose_lease(claimed)
        outbox.extend(claimed)
        assert outbox.claim(claimed.pk) is None

    press.meanwhile = long
    assert outbox.run(row.pk)
    assert press.seen == [(1, {})]


def test_a_lost_lease_cannot_be_extended(press: Press) -> None:
    row = put()

    def overtaken(claimed: OutboxRow) -> None:
        press.meanwhile = lambda row: None
        lose_lease(claimed)
        assert outbox.run(claimed.pk)
        outbox.extend(claimed)

    press.meanwhile = overtaken
    assert not outbox.run(row.pk)
    assert [attempt for attempt, _ in press.seen] == [1, 2]
    assert press.published == ["case:1"]
    assert (now(row).state, now(row).error) == (State.DONE, "")


# Failing


def test_a_failure_is_tried_again_later(press: Press) -> None:
    row = put()
    press.meanwhile = fail
    waits = []
    for _ in range(2):
        make_due(row)
        before = timezone.now()
        assert not outbox.run(row.pk)
        waits.append(round((now(row).due_at - before).total_seconds()))
        assert not outbox.run(row.pk)
        assert (now(row).state, now(row).error) == (State.QUEUED, "ValueError: no steam")
    assert waits == [5, 20]
    press.meanwhile = lambda row: None
    make_due(row)
    assert outbox.run(row.pk)
    assert (now(row).state, now(row).error, now(row).attempt) == (State.DONE, "", 3)


def test_after_three_failures_it_is_set_aside(press: Press, caplog: pytest.LogCaptureFixture) -> None:
    row = put()
    press.meanwhile = fail
    for _ in range(5):
        make_due(row)
        outbox.run(row.pk)
    dead = now(row)
    assert len(press.seen) == 3
    assert (dead.state, dead.attempt, dead.error, dead.lease_until) == (State.DEAD, 3, "ValueError: no steam", None)
    assert dead.finished_at is not None
    assert f"outbox row {row.pk} (press) is set aside" in caplog.text


def test_work_that_kills_its_worker_is_set_aside_after_three_attempts(press: Press) -> None:
    row = put()
    for _ in range(3):
        assert outbox.claim(row.pk) is not None
        lose_lease(row)
    assert not outbox.run(row.pk)
    assert press.seen == []
    assert (now(row).state, now(row).attempt) == (State.DEAD, 3)
    assert "its worker died" in now(row).error
    assert outbox.sweep() == []


def test_what_fails_to_publish_writes_nothing(press: Press) -> None:
    row = put()

    def torn() -> None:
        raise RuntimeError("torn paper")

    press.publishing = torn
    assert not outbox.run(row.pk)
    assert press.published == []
    assert (now(row).state, now(row).error, now(row).finished_at) == (State.QUEUED, "RuntimeError: torn paper", None)


def test_a_long_error_is_kept_in_part(press: Press) -> None:
    row = put()
    claimed = outbox.claim(row.pk)
    assert claimed is not None
    outbox.give_back(claimed, "x" * 10_000)
    assert now(row).error == "x" * 500


def test_a_kind_has_its_own_patience(press: Press, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(outbox.HANDLERS, "press", outbox.Handler(press.work, 60, outbox.LONG_PATIENCE))
    row = put()
    press.meanwhile = fail
    waits = []
    while now(row).state == State.QUEUED:
        make_due(row)
        before = timezone.now()
        outbox.run(row.pk)
        waits.append(round((now(row).due_at - before).total_seconds()))
    assert waits[:-1] == [5, 30, 300, 1800, 7200, 21600]
    assert (now(row).state, now(row).attempt) == (State.DEAD, 7)


# Set aside, and asked for again


def dead_row(press: Press, payload: dict[str, object] | None = None) -> OutboxRow:
    """Work that failed for good."""
    row = put(payload=payload)
    press.meanwhile = fail
    while now(row).state != State.DEAD:
        make_due(row)
        outbox.run(row.pk)
    press.meanwhile = lambda row: None
    return now(row)


def test_revived_work_is_done_from_the_first_attempt_on(press: Press, sent: Sent) -> None:
    dead = dead_row(press, {"tooth": 11})
    sent.clear()
    fresh = outbox.revive(dead, cast.administrator())
    assert sent == [fresh.pk]
    assert (now(dead).state, now(dead).error) == (State.REPLACED, "ValueError: no steam")
    assert (now(fresh).state, now(fresh).attempt) == (State.QUEUED, 0)
    assert outbox.run(fresh.pk)
    assert press.seen[-1] == (1, {"tooth": 11})
    event = audit.trail(dead)[-1]
    assert (event.verb, event.actor) == ("revive", cast.administrator())


def test_revived_work_that_is_queued_already_keeps_the_newer_payload(press: Press) -> None:
    dead = dead_row(press, {"version": 1})
    queued = put(payload={"version": 2})
    assert outbox.revive(dead, cast.administrator()).pk == queued.pk
    assert now(queued).payload == {"version": 2}
    assert OutboxRow.objects.count() == 2


def test_only_what_was_set_aside_is_revived(press: Press) -> None:
    row = put()
    with pytest.raises(Conflict, match="The work press of case:1 is queued and cannot become replaced"):
        outbox.revive(row, cast.administrator())
    dead = dead_row(press)
    outbox.revive(now(dead), cast.administrator())
    with pytest.raises(Conflict, match="changed by somebody else"):
        outbox.revive(dead, cast.administrator())
    assert OutboxRow.objects.count() == 2


# Asked for again while it waits after a failure


def test_new_work_neither_waits_for_nor_ends_with_a_failed_one(press: Press) -> None:
    row = put(payload={"version": 1})
    press.meanwhile = fail
    for _ in range(2):
        make_due(row)
        outbox.run(row.pk)
    anew = put(payload={"version": 2})
    assert now(row).state == State.REPLACED
    assert (now(anew).attempt, now(anew).payload) == (0, {"version": 2})
    assert now(anew).due_at <= timezone.now()
    assert not outbox.run(anew.pk)
    assert (now(anew).state, now(anew).attempt) == (State.QUEUED, 1)


def test_an_overtaken_attempt_does_not_end_the_work_that_was_queued_anew(press: Press) -> None:
    row = put()
    slow = outbox.claim(row.pk)
    assert slow is not None
    lose_lease(row)
    press.meanwhile = fail
    outbox.run(row.pk)
    anew = put()
    assert outbox.claim(anew.pk) is not None
    assert not outbox.finish(slow, lambda: None)
    assert now(anew).state == State.RUNNING


# The same work queued anew while it runs


def test_the_same_work_waits_until_the_running_row_is_done(press: Press, sent: Sent) -> None:
    first = put()
    anew: list[OutboxRow] = []

    def change(row: OutboxRow) -> None:
        anew.append(put(payload={"version": 2}))
        assert not outbox.run(anew[0].pk)
        sent.clear()

    press.meanwhile = change
    assert outbox.run(first.pk)
    assert sent == [anew[0].pk]
    press.meanwhile = lambda row: None
    assert outbox.run(anew[0].pk)
    assert press.seen == [(1, {}), (1, {"version": 2})]


def test_it_waits_even_where_the_running_row_lost_its_worker(press: Press) -> None:
    first = put()
    outbox.claim(first.pk)
    second = put()
    lose_lease(first)
    assert not outbox.run(second.pk)
    assert outbox.run(first.pk)
    assert outbox.run(second.pk)
    assert OutboxRow.objects.filter(state=State.DONE).count() == 2


def test_a_failure_leaves_it_to_the_row_that_was_queued_anew(press: Press, sent: Sent) -> None:
    first = put()
    anew: list[OutboxRow] = []

    def change_and_fail(row: OutboxRow) -> None:
        anew.append(put())
        sent.clear()
        fail(row)

    press.meanwhile = change_and_fail
    assert not outbox.run(first.pk)
    assert (now(first).state, now(first).error) == (State.REPLACED, "ValueError: no steam")
    assert now(first).finished_at is not None
    assert sent == [anew[0].pk]
    press.meanwhile = lambda row: None
    assert outbox.run(anew[0].pk)
    assert press.published == ["case:1"]


def test_other_subjects_do_not_wait(press: Press) -> None:
    outbox.claim(put("case:1").pk)
    assert outbox.run(put("case:2").pk)


# The sweep


def test_the_sweep_sends_what_is_due_oldest_first(press: Press, sent: Sent) -> None:
    lost, queued, held, later, done = (put(f"case:{number}") for number in range(5))
    outbox.claim(lost.pk), outbox.claim(held.pk)
    lose_lease(lost)
    OutboxRow.objects.filter(pk=later.pk).update(due_at=timezone.now() + timedelta(minutes=1))
    outbox.run(done.pk)
    sent.clear()
    assert outbox.sweep() == [lost.pk, queued.pk]
    assert sent == [lost.pk, queued.pk]


def test_the_sweep_sends_no_more_than_its_limit(press: Press) -> None:
    ids = [put(f"case:{number}").pk for number in range(3)]
    assert outbox.sweep(limit=2) == ids[:2]


def test_the_task_sweeps(press: Press, sent: Sent) -> None:
    row = put()
    sent.clear()
    tasks.sweep_outbox()
    assert sent == [row.pk]


def test_what_ended_well_long_ago_is_forgotten_and_nothing_else(press: Press) -> None:
    recent, old, dead, queued = (put(f"case:{number}") for number in range(4))
    for row in (recent, old, dead):
        outbox.run(row.pk)
    long_ago = timezone.now() - outbox.KEPT - timedelta(hours=1)
    OutboxRow.objects.filter(pk__in=[old.pk, dead.pk]).update(finished_at=long_ago)
    OutboxRow.objects.filter(pk=dead.pk).update(state=State.DEAD)
    tasks.purge_outbox()
    assert set(OutboxRow.objects.values_list("pk", flat=True)) == {recent.pk, dead.pk, queued.pk}


# The rules in the database


@pytest.mark.parametrize(
    ("facts", "constraint"),
    [
        ({"state": State.QUEUED}, "outbox_queued_once"),
        ({"state": State.RUNNING, "lease_until": timezone.now()}, "outbox_running_once"),
        ({"state": "lost"}, "outbox_state"),
        ({"state": State.RUNNING, "lease_until": None}, "outbox_running_has_lease"),
    ],
)
def test_the_database_refuses_what_cannot_be(facts: dict[str, Any], constraint: str) -> None:
    first = put()
    OutboxRow.objects.create(
        kind="press", subject="case:1", due_at=timezone.now(), state=State.RUNNING, lease_until=timezone.now()
    )
    twice = "UNIQUE constraint failed|" if constraint.endswith("once") else ""
    with pytest.raises(IntegrityError, match=f"{twice}{constraint}"):
        OutboxRow.objects.create(**{"kind": "press", "subject": "case:1", "due_at": timezone.now(), **facts})
    assert OutboxRow.objects.count() == 2
    assert now(first).state == State.QUEUED
