"""The earliest appointment that can be promised to an order that is not signed yet.

The order is put onto the floor as it stands, as if it were released now and complete, and the whole shop is simulated.
It is an estimate: from the day by which it is packed in 95 of 100 futures, the usual way to the chair is counted.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from labqueue.base import outbox
from labqueue.base.models import OutboxRow, User
from labqueue.planning.models import Promise
from labqueue.planning.pieces import to_make
from labqueue.planning.snapshot import OpenCase, Snapshot
from orders import due, seal
from orders.doors import own_case
from orders.intake import draft_of
from orders.models import Case, Prescription
from orders.reads import promise_of as usual_promise

KIND = "promise"
FRESH = timedelta(minutes=10)
BEYOND = "it is not packed within the six weeks that are simulated"


@dataclass(frozen=True)
class Standing:
    """What can be said of a draft now: by the usual days always, by the floor once that is computed."""

    draft: Prescription
    usual: due.Promise
    promise: Promise | None
    failed: bool

    @property
    def state(self) -> str:
        """`ready`, `failed` or `queued`."""
        return "ready" if self.promise else "failed" if self.failed else "queued"


def standing(actor: User, case: Case, now: datetime) -> Standing:
    """What can be promised to the draft of an own case; computed by a worker where nobody has asked yet.

    Raises Forbidden for all but its practice, Conflict where everything is signed.
    """
    own_case(actor, case)
    draft = draft_of(case)
    found = promise_of(case, draft, now)
    gave_up = found is None and failed(case, now)
    if found is None and not gave_up and not is_coming(case):
        ask(case)
    return Standing(draft, usual_promise(case, draft), found, gave_up)


def promise_of(case: Case, draft: Prescription, now: datetime) -> Promise | None:
    """What was computed of just this draft in the last ten minutes."""
    young = Promise.objects.filter(case=case, shop_at__gt=now - FRESH, shop_at__lte=now)
    return young.filter(mark=seal.mark(case, draft)).first()


@transaction.atomic
def ask(case: Case) -> OutboxRow:
    """Have it computed. Asked for twice before it has begun, it is computed once."""
    return outbox.put(KIND, case.number)


def is_coming(case: Case) -> bool:
    """Whether it is queued or being computed."""
    return outbox.is_coming(KIND, case.number)


def failed(case: Case, now: datetime) -> bool:
    """Whether the last attempts failed for good not long ago; then nobody asks again at once."""
    return outbox.died_since(KIND, case.number, now - FRESH)


def compute(
    case: Case, draft: Prescription, now: datetime, alive: Callable[[], object] = lambda: None, every: float = 15
) -> Promise:
    """The promise for a draft, as a row that is not saved. Calls `alive` each `every` seconds while it simulates.

    Raises ShopError where the laboratory cannot be stated, and what `alive` raises.
    """
    from labqueue.planning import floor, forecast, shop
    from labqueue.planning.pulse import with_pulse

    row = Promise(case=case, mark=seal.mark(case, draft), shop_at=now, replications=forecast.replications())
    way, terms = due.way_to(case.practice), due.terms_of(draft)
    stated = shop.state(with_order(floor.look(now), case, draft))
    if why := stated.left_out.get(case.number):
        row.reason = why[:200]
    else:
        figures = with_pulse(lambda go_on: forecast.simulated(stated.shop, go_on), alive, every)
        tell(row, way, terms, next(job for job in figures["jobs"] if job["id"] == case.number))
    row.made_at = timezone.now()
    return row


def with_order(snapshot: Snapshot, case: Case, draft: Prescription) -> Snapshot:
    """The laboratory with the order on the floor, in place of what it may change there."""
    items = list(draft.items.all())
    missing = sorted({str(item.make.label) for item in items if item.make not in snapshot.routes})
    promise = due.promise_of(due.way_to(case.practice), draft, draft.makes, snapshot.now)
    order = OpenCase(
        pk=case.pk,
        number=case.number,
        due_at=promise.due_at,
        held_since=None,
        pieces=() if missing else tuple(to_make(item, item.line, snapshot.routes[item.make]) for item in items),
        unstated=f"there is no route in use for: {', '.join(missing)}" if missing else "",
    )
    return replace(snapshot, cases=(*(one for one in snapshot.cases if one.pk != case.pk), order))


def tell(row: Promise, way: due.Way, terms: due.Terms, job: dict[str, Any]) -> None:
    """Fill in when it is packed, and the first day for an appointment after that."""
    for name in ("p50", "p80", "p95"):
        text = job["finish"][name]
        setattr(row, name, datetime.fromisoformat(text) if text else None)
    if row.p95 is None:
        row.reason = BEYOND
        return
    row.seat_from = due.first_seat_day(way, due.leaves_after(way, row.p95, terms), terms)


def publish(row: Promise) -> None:
    """Keep it, in the caller's transaction; what was computed of the case before is no longer asked for."""
    Promise.objects.filter(case=row.case).delete()
    row.save(force_insert=True)
