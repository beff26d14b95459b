"""Many scanners at once: each scan counts once, and a step has one winner."""

import threading
import time
from collections import Counter
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from labqueue.base.errors import Conflict
from labqueue.base.models import Event
from labqueue.production import lots
from labqueue.production.gates import check_start
from labqueue.production.models import LotInUse, LotUse, Scan, ScanKey, Station, WorkItem, WorkStep
from labqueue.production.release import release
from labqueue.production.scan import ScanResult, Trigger
from labqueue.production.scan import _known as known
from orders.hold import hold
from tests import cast
from tests.orders import build as orders
from tests.production.build import piece, released_case, scan_through, send, shop
from tests.races.together import beside, together, without_row_locks

pytestmark = pytest.mark.django_db(transaction=True)

THREADS = 8


def outcome(item: WorkItem, station: str, **facts: object) -> str:
    """What becomes of one scan: `counted`, `repeated`, or the sentence of its refusal."""
    try:
        return "repeated" if send(item, station, cast.technician(), **facts).repeated else "counted"
    except Conflict as refusal:
        return refusal.faults[0].message
    except IntegrityError:
        return "refused by the database"


def test_the_same_key_from_many_threads_counts_once() -> None:
    item, key = piece(released_case()), uuid4()
    cast.technician()
    found = Counter(together(THREADS, lambda _: outcome(item, "intake", key=key)))
    assert found == {"counted": 1, "repeated": THREADS - 1}
    assert Scan.objects.get().key == key
    assert Event.objects.filter(verb="scanned").count() == 1
    assert item.steps.get(seq=1).state == "running"


def test_second_triggers_under_fresh_keys_count_once() -> None:
    item = piece(released_case())
    cast.technician()
    found = Counter(together(THREADS, lambda _: outcome(item, "intake")))
    assert found == {"counted": 1, "repeated": THREADS - 1}
    assert (Scan.objects.count(), ScanKey.objects.count()) == (1, THREADS)


def starts(item: WorkItem, station: str) -> list[str]:
    """What becomes of many starts of one step that happened minutes apart, all sent at once."""
    now = timezone.now()
    cast.technician()
    return together(
        THREADS, lambda n: outcome(item, station, action="start", occurred_at=now - timedelta(minutes=n + 1))
    )


def test_of_different_scans_for_one_step_one_wins_and_the_others_are_refused() -> None:
    item = piece(released_case())
    scan_through(item, until="milling")
    found = Counter(starts(item, "milling"))
    assert found == {"counted": 1, f"{item} is in work at Dry milling already. Scan done when it is.": THREADS - 1}
    step = item.steps.get(station__code="milling")
    assert step.state == "running"
    assert Scan.objects.filter(step=step).count() == LotUse.objects.filter(step=step).count() == 1


@pytest.mark.postgres
def test_control_without_the_lock_they_race_and_the_step_itself_still_has_one_winner(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    item = piece(released_case())
    passed = []

    def slow(step: WorkStep) -> None:
        check_start(step)
        passed.append(step)
        time.sleep(0.3)

    monkeypatch.setattr("labqueue.production.scan.check_start", slow)
    without_row_locks(monkeypatch)
    found = Counter(starts(item, "intake"))
    assert len(passed) > 1, "without the lock, several should have come past the checks"
    assert found["counted"] == 1
    assert found[f"{item} was scanned by somebody else a moment ago. Look again."] >= 1
    assert Scan.objects.count() == 1


def test_one_key_for_two_pieces_at_once_counts_for_one_of_them() -> None:
    items = [piece(released_case(seat_at=orders.seat_in(days))) for days in (12, 14)]
    cast.technician()
    for _ in range(5):
        key = uuid4()
        found = together(2, lambda n, key=key: outcome(items[n], "intake", key=key))  # type: ignore[misc]
        assert sum("key was used for another scan" in one for one in found) == 1
        assert ScanKey.objects.filter(key=key).count() == 1


def test_one_key_at_once_for_a_scan_and_for_a_second_trigger_counts_for_one_of_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    items, key = [piece(released_case(seat_at=orders.seat_in(days))) for days in (12, 14)], uuid4()
    send(items[0], "intake")

    def slow(trigger: Trigger, item: WorkItem) -> ScanResult | None:
        """Both look the key up before either writes it."""
        found = known(trigger, item)
        time.sleep(0.3)
        return found

    monkeypatch.setattr("labqueue.production.scan._known", slow)
    found = together(2, lambda n: outcome(items[n], "intake", key=key))
    assert sum("key was used for another scan" in one for one in found) == 1
    assert ScanKey.objects.get(key=key).scan.item in items


def test_the_last_two_pieces_at_once_finish_the_case_once() -> None:
    case = released_case()
    items = [piece(case, "abutment"), piece(case)]
    for item in items:
        scan_through(item, until="quality")
        send(item, "quality", action="start", occurred_at=timezone.now() - timedelta(minutes=1))
    found = together(2, lambda n: outcome(items[n], "quality", action="done"))
    assert found == ["counted", "counted"]
    case.refresh_from_db()
    assert case.state == "finished"
    assert Event.objects.filter(verb="finished").count() == 1


@pytest.mark.postgres
def test_a_scan_waits_for_a_hold_that_is_being_written_and_is_refused() -> None:
    case = released_case()
    item, manager, done = piece(case), cast.manager(), threading.Event()
    cast.technician()

    def late() -> str:
        found = outcome(item, "intake")
        done.set()
        return found

    with transaction.atomic():
        hold(manager, case, "Which shade?")
        found = beside(late)
        assert not done.wait(0.3)
    assert "is on hold (“Which shade?”)" in found()
    assert not Scan.objects.exists()


def releases(count: int) -> Counter[str]:
    """What becomes of one accepted case that many release at once."""
    shop()
    case, manager = orders.confirmed_case(), cast.manager()

    def one(_: int) -> str:
        try:
            release(manager, type(case).objects.get(pk=case.pk))
        except Conflict as refusal:
            return refusal.faults[0].message
        except IntegrityError:
            return "refused by the database"
        return "released"

    found = Counter(together(count, one))
    assert WorkItem.objects.count() == 2
    return found


def test_a_case_is_released_once() -> None:
    found = releases(4)
    assert found["released"] == 1
    assert sum(count for why, count in found.items() if "was released already" in why) == 3


@pytest.mark.postgres
def test_control_without_the_lock_only_the_database_keeps_a_case_from_being_released_twice(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    without_row_locks(monkeypatch)
    found = releases(4)
    assert found["refused by the database"] > 0
    assert found["released"] == 1


def test_two_lots_put_into_use_at_once_leave_one() -> None:
    shop(lots=False)
    mill, technician = Station.objects.get(code="milling"), cast.technician()
    together(4, lambda n: lots.use_lot(technician, mill, "pmma", f"N-{n}", "New Disc"))
    in_use = LotInUse.objects.get(station=mill, what="pmma")
    assert in_use.lot.number == Event.objects.filter(verb="lot put into use").latest("pk").after["lot"]
