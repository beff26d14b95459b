"""The outbox: work that a transaction leaves behind, done later by a worker, at least once and published exactly once.

A row is claimed under a lease. Its handler computes without a transaction and returns what is to be written; that is
written in the transaction that closes the row, and only if this attempt still holds it. Of one kind and subject only
one row runs at a time, so that an older result is never written over a newer one.
"""

import logging
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import IntegrityError, transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from labqueue.base import transactions
from labqueue.base.models import OutboxRow, User
from labqueue.base.moves import Moves, move

log = logging.getLogger(__name__)

# Seconds between the attempts. What is soon done anew by a newer row is given up soon; what is asked for once is not.
SHORT_PATIENCE = (5, 20)
LONG_PATIENCE = (5, 30, 5 * 60, 30 * 60, 2 * 3600, 6 * 3600)
# How long ended work can still be looked up.
KEPT = timedelta(days=30)
State = OutboxRow.State
REVIVAL: Moves = {State.DEAD: frozenset({State.REPLACED})}
Publish = Callable[[], None]
Work = Callable[[OutboxRow], Publish]


class LeaseLost(Exception):
    """Another attempt has taken the row: stop, what this one computes is no longer wanted."""


@dataclass(frozen=True)
class Handler:
    """Who does the rows of one kind, how many seconds an attempt may hold one, and how many it waits for the next."""

    work: Work
    lease: int
    patience: tuple[int, ...] = SHORT_PATIENCE

    @property
    def attempts(self) -> int:
        """How often a row is tried before it is set aside."""
        return len(self.patience) + 1

    def until(self) -> datetime:
        """When a lease taken now ends."""
        return timezone.now() + timedelta(seconds=self.lease)


HANDLERS: dict[str, Handler] = {}


def handles(kind: str, lease: int = 60, patience: tuple[int, ...] = SHORT_PATIENCE) -> Callable[[Work], Work]:
    """Decorator: this function does the rows of `kind`. It returns what publishes its result.

    Work that can take longer than `lease` seconds calls `extend` between its steps. Short leases are good: work whose
    worker was killed is taken up again when its lease has run out. A failure waits as `patience` says, in seconds.
    """

    def register(work: Work) -> Work:
        HANDLERS[kind] = Handler(work, lease, patience)
        return work

    return register


def put(kind: str, subject: str, payload: dict[str, object] | None = None) -> OutboxRow:
    """Leave work behind in the caller's transaction. While a row of that kind and subject is queued, no second is made.

    The last payload counts. A row that failed and waits is replaced: new work neither waits nor is given up with it.
    The queued row stays locked until the commit: nobody can claim it and compute without this transaction's changes.
    So call it late, and for several subjects in a fixed order.
    Raises django.db.transaction.TransactionManagementError outside a transaction.
    """
    transactions.required("outbox rows belong into the transaction of their change")
    row = insert_or_lock(kind, subject, payload or {})
    if row.attempt:
        OutboxRow.objects.filter(pk=row.pk).update(state=State.REPLACED, finished_at=timezone.now())
        row = insert_or_lock(kind, subject, payload or {})
    if row.payload != (payload or {}):
        row.payload = payload or {}
        row.save(update_fields=["payload"])
    transaction.on_commit(lambda: poke(row.pk), robust=True)
    return row


def insert_or_lock(kind: str, subject: str, payload: dict[str, object]) -> OutboxRow:
    """The queued row, made if there is none. Where a worker claims it between the two statements, a new one is made."""
    queued = OutboxRow.objects.select_for_update(no_key=True).filter(kind=kind, subject=subject, state=State.QUEUED)
    while True:
        fresh = OutboxRow(kind=kind, subject=subject, payload=payload, due_at=timezone.now())
        OutboxRow.objects.bulk_create([fresh], ignore_conflicts=True)
        if row := queued.first():
            return row


def poke(row_id: int) -> None:
    """Tell a worker. A broker that is away is no harm: the sweep finds the row."""
    from labqueue.base.tasks import run_outbox

    try:
        run_outbox.apply_async((row_id,), retry=False)
    except Exception as error:
        log.warning("outbox row %s waits for the sweep: %s", row_id, error)


def run(row_id: int) -> bool:
    """Do one row if it is due and nobody holds it; whether this call finished it."""
    row = claim(row_id)
    if row is None:
        return False
    finished = attempt(row)
    wake_next(row)
    return finished


def attempt(row: OutboxRow) -> bool:
    """Do a claimed row once; whether its result was published."""
    try:
        return finish(row, HANDLERS[row.kind].work(row))
    except LeaseLost:
        log.warning("outbox row %s (%s): attempt %s was overtaken", row.pk, row.kind, row.attempt)
    except Exception as error:
        log.exception("outbox row %s (%s) failed", row.pk, row.kind)
        give_back(row, f"{type(error).__name__}: {error}")
    return False


def due() -> Q:
    """Rows that a worker may take now: queued and due, or running under a lease that has run out."""
    now = timezone.now()
    return Q(state=State.QUEUED, due_at__lte=now) | Q(state=State.RUNNING, lease_until__lt=now)


def is_coming(kind: str, subject: str) -> bool:
    """Whether that work is queued or being done."""
    return OutboxRow.objects.filter(kind=kind, subject=subject, state__in=(State.QUEUED, State.RUNNING)).exists()


def last_ended(kind: str, subject: str) -> OutboxRow | None:
    """The last row of that work that came to an end, well or badly."""
    ended = OutboxRow.objects.filter(kind=kind, subject=subject, finished_at__isnull=False)
    return ended.order_by("-finished_at").first()


def died_since(kind: str, subject: str, moment: datetime) -> bool:
    """Whether that work was set aside when it was last tried, after `moment`."""
    last = last_ended(kind, subject)
    return last is not None and last.state == State.DEAD and (last.finished_at or moment) > moment


def held(row: OutboxRow) -> QuerySet[OutboxRow]:
    """The row, as long as this attempt holds it."""
    return OutboxRow.objects.filter(pk=row.pk, attempt=row.attempt, state=State.RUNNING)


def claim(row_id: int) -> OutboxRow | None:
    """Take a row under a lease, or None where it is not due, somebody holds it, or it was tried too often."""
    with transaction.atomic():
        row = OutboxRow.objects.select_for_update(skip_locked=True).filter(due(), pk=row_id).first()
        if row is None or must_wait(row):
            return None
        if row.attempt >= HANDLERS[row.kind].attempts:
            bury(row, "its worker died or overran the lease each time")
            return None
        row.state, row.attempt, row.lease_until = State.RUNNING, row.attempt + 1, HANDLERS[row.kind].until()
        row.save(update_fields=["state", "attempt", "lease_until"])
    return row


def must_wait(row: OutboxRow) -> bool:
    """Whether the same work is running in another row, or nobody here knows how to do it."""
    if row.kind not in HANDLERS:
        log.error("outbox row %s: there is no handler for %s", row.pk, row.kind)
        return True
    same = OutboxRow.objects.filter(kind=row.kind, subject=row.subject, state=State.RUNNING)
    return same.exclude(pk=row.pk).exists()


def extend(row: OutboxRow) -> None:
    """Hold a claimed row for a full lease from now. Raises LeaseLost where another attempt has taken it."""
    until = HANDLERS[row.kind].until()
    if held(row).update(lease_until=until) != 1:
        raise LeaseLost
    row.lease_until = until


def finish(row: OutboxRow, publish: Publish) -> bool:
    """Close the row and publish in one transaction, unless another attempt has taken it meanwhile."""
    with transaction.atomic():
        if not close(row, State.DONE):
            return False
        publish()
    return True


def give_back(row: OutboxRow, error: str) -> None:
    """After a failure: again later, set aside after the last attempt, or left to a newer row of the same work."""
    handler = HANDLERS[row.kind]
    if row.attempt >= handler.attempts:
        bury(row, error)
        return
    wait = timedelta(seconds=handler.patience[row.attempt - 1])
    try:
        with transaction.atomic():
            later = timezone.now() + wait
            held(row).update(state=State.QUEUED, due_at=later, lease_until=None, error=shortened(error))
    except IntegrityError:
        close(row, State.REPLACED, error)


def bury(row: OutboxRow, error: str) -> None:
    """Set aside what was tried too often, so that work which kills its worker cannot go round for ever."""
    log.error("outbox row %s (%s) is set aside: %s", row.pk, row.kind, error)
    close(row, State.DEAD, error)


@transaction.atomic
def revive(row: OutboxRow, actor: User) -> OutboxRow:
    """dead -> replaced by a row of the same work that is queued now: a new one, or one that waits already.

    A row is not begun anew, or an attempt that was overtaken long ago would take itself for the new first one.
    Raises Conflict where the row is not set aside.
    """
    move(row, State.REPLACED, verb="revive", actor=actor, moves=REVIVAL)
    fresh = insert_or_lock(row.kind, row.subject, row.payload)
    transaction.on_commit(lambda: poke(fresh.pk), robust=True)
    return fresh


def close(row: OutboxRow, state: State, error: str = "") -> bool:
    """End the row; False where this attempt no longer holds it."""
    end = {"state": state, "finished_at": timezone.now(), "lease_until": None, "error": shortened(error)}
    return held(row).update(**end) == 1


def shortened(error: str) -> str:
    """As the column takes it."""
    return error.replace("\0", "")[:500]


def wake_next(row: OutboxRow) -> None:
    """Tell a worker of the same work queued anew, which had to wait for this row."""
    queued = OutboxRow.objects.filter(due(), kind=row.kind, subject=row.subject, state=State.QUEUED)
    if (row_id := queued.values_list("pk", flat=True).first()) is not None:
        poke(row_id)


def sweep(limit: int = 200) -> list[int]:
    """Send a message for every row that is due; their ids. For messages that were lost and leases that ran out."""
    rows = OutboxRow.objects.filter(due(), kind__in=HANDLERS).order_by("due_at")
    ids = list(rows.values_list("pk", flat=True)[:limit])
    for row_id in ids:
        poke(row_id)
    return ids


def purge() -> int:
    """Forget work that ended well long ago; how many rows. Work that was set aside stays until somebody has looked."""
    long_ago = timezone.now() - KEPT
    ended = OutboxRow.objects.filter(state__in=[State.DONE, State.REPLACED], finished_at__lt=long_ago)
    return ended.delete()[0]
