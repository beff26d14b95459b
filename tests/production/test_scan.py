"""Scanning a piece at a station: what counts, what counts once, what is refused."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import DatabaseError, transaction
from django.utils import timezone

from labqueue.base import audit, codes
from labqueue.base.errors import Conflict, Forbidden, Refusal
from labqueue.base.models import Event
from labqueue.production.lots import use_lot
from labqueue.production.models import Lot, LotInUse, LotUse, Scan, ScanKey, Station, WorkItem, WorkStep
from labqueue.production.release import release
from labqueue.production.scan import scan
from labqueue.production.stop import stop
from orders.hold import hold, resume
from orders.intake import edit_draft
from orders.models import Case
from orders.signoff import amend, sign
from tests import cast
from tests.orders import build as orders
from tests.production.build import finished_case, piece, released_case, scan_through, send

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


def everything() -> list[Any]:
    """All that a scan could write."""
    tables = (Case, WorkItem, WorkStep, Scan, ScanKey, LotUse, Event)
    return [list(table._default_manager.order_by("pk").values()) for table in tables]


def refused(item: WorkItem, station: str, kind: type[Refusal] = Conflict, **facts: Any) -> Refusal:
    """The refusal of a scan, after which nothing may have been written."""
    before = everything()
    with pytest.raises(kind) as caught:
        send(item, station, **facts)
    assert everything() == before
    return caught.value


def sentence(item: WorkItem, station: str, **facts: Any) -> str:
    """What the bench reads."""
    return refused(item, station, **facts).faults[0].message


# What works


def test_the_first_scan_starts_the_step() -> None:
    item = piece(released_case())
    result = send(item, "intake")
    step = item.steps.get(seq=1)
    assert (result.scan.action, result.repeated, result.scan.step) == ("start", False, step)
    assert (step.state, step.started_by, step.done_at) == ("running", cast.technician(), None)
    assert step.started_at == result.scan.occurred_at == result.scan.received_at


def test_the_second_scan_ends_it() -> None:
    item = piece(released_case())
    now = timezone.now()
    send(item, "intake", occurred_at=now - 5 * MINUTE)
    result = send(item, "intake", occurred_at=now - MINUTE)
    step = item.steps.get(seq=1)
    assert result.scan.action == "done"
    assert (step.state, step.started_at, step.done_at) == ("done", now - 5 * MINUTE, now - MINUTE)
    assert step.done_by == cast.technician()


def test_the_action_may_be_said() -> None:
    item = piece(released_case())
    assert send(item, "intake", action="start").scan.action == "start"
    assert send(item, "intake", action="done").scan.action == "done"
    assert item.steps.get(seq=1).state == "done"


def test_the_result_says_where_the_piece_goes_next() -> None:
    item = piece(released_case())
    assert [result.then.code if result.then else None for result in scan_through(item, until="sintering")] == [
        *("design", "design", "milling", "milling", "sintering", "sintering")
    ]


def test_a_code_is_read_with_spaces_and_hyphens() -> None:
    item = piece(released_case())
    assert send(item, "intake", code=f" {item.code[:5]}-{item.code[5:]} ").item == item


def test_a_late_scan_keeps_the_time_at_which_it_happened() -> None:
    item = piece(released_case())
    this_morning = timezone.now() - timedelta(hours=3)
    result = send(item, "intake", occurred_at=this_morning)
    assert result.scan.occurred_at == item.steps.get(seq=1).started_at == this_morning
    assert result.scan.received_at > this_morning


def test_a_clock_that_runs_ahead_is_kept_but_no_step_begins_in_the_future() -> None:
    item = piece(released_case())
    ahead = timezone.now() + timedelta(hours=1)
    result = send(item, "intake", occurred_at=ahead)
    assert result.scan.occurred_at == ahead
    assert item.steps.get(seq=1).started_at == result.scan.received_at < ahead


def test_a_clock_that_goes_back_never_ends_a_step_before_its_start() -> None:
    item = piece(released_case())
    started = send(item, "intake", action="start").scan
    send(item, "intake", action="done", occurred_at=started.occurred_at - MINUTE)
    assert item.steps.get(seq=1).done_at == started.occurred_at


@pytest.mark.parametrize("off", [timedelta(days=-20_000), timedelta(days=-2), timedelta(days=900)])
def test_what_a_clock_far_off_says_is_kept_but_the_step_takes_our_time(off: timedelta) -> None:
    item, said = piece(released_case()), timezone.now() + off
    started = send(item, "intake", action="start", occurred_at=said).scan
    ended = send(item, "intake", action="done", occurred_at=said).scan
    step = item.steps.get(seq=1)
    assert started.occurred_at == ended.occurred_at == said
    assert (step.started_at, step.done_at) == (started.received_at, ended.received_at)


def test_no_step_begins_before_the_piece_was_released() -> None:
    item = piece(released_case())
    said = item.released_at - timedelta(hours=1)
    assert send(item, "intake", occurred_at=said).scan.occurred_at == said
    assert item.steps.get(seq=1).started_at == item.released_at


def test_no_step_begins_before_the_step_before_it_ended() -> None:
    item, now = piece(released_case()), timezone.now()
    send(item, "intake", occurred_at=now - 30 * MINUTE)
    send(item, "intake", occurred_at=now - 20 * MINUTE)
    send(item, "design", occurred_at=now - 25 * MINUTE)
    send(item, "design", occurred_at=now - 24 * MINUTE)
    design = item.steps.get(station__code="design")
    assert design.started_at == design.done_at == now - 20 * MINUTE


@pytest.mark.parametrize(("late", "noted"), [(4 * MINUTE, None), (6 * MINUTE, 360), (-6 * MINUTE, -360)])
def test_clocks_that_lie_apart_are_noted_in_the_trail(late: timedelta, noted: int | None) -> None:
    case = released_case()
    send(piece(case), "intake", occurred_at=timezone.now() - late)
    skew = audit.trail(case)[-1].after.get("skew")
    assert skew is None if noted is None else abs(skew - noted) <= 30


def test_a_scan_stands_in_the_trail_of_the_case() -> None:
    case = released_case()
    item = piece(case)
    send(item, "intake")
    event = audit.trail(case)[-1]
    assert (event.verb, event.actor) == ("scanned", cast.technician())
    assert event.after == {
        "piece": item.code,
        "step": "intake",
        "station": "intake",
        "attempt": 1,
        "action": "start",
        "lot": None,
    }


def test_a_case_is_finished_when_the_last_piece_is_through_its_check() -> None:
    case = released_case()
    abutment, crown = piece(case, "abutment"), piece(case)
    scan_through(abutment, until="packing")
    case.refresh_from_db()
    assert (case.state, case.finished_at) == ("released", None)
    scan_through(crown, until="packing")
    case.refresh_from_db()
    assert case.state == "finished"
    assert case.finished_at is not None


def test_a_piece_is_done_after_packing() -> None:
    case = finished_case()
    for item in case.work_items.all():
        assert item.state == "open"
        assert scan_through(item)[-1].then is None
        item.refresh_from_db()
        assert item.state == "done"
    case.refresh_from_db()
    assert case.state == "finished"


# What counts once


def test_the_same_key_gives_the_same_result_and_counts_once() -> None:
    item, key = piece(released_case()), uuid4()
    first = send(item, "intake", key=key)
    before = everything()
    again = send(item, "intake", key=key)
    assert (again.scan, again.repeated) == (first.scan, True)
    assert everything() == before


def test_a_key_is_answered_even_when_the_state_has_moved_on() -> None:
    case = released_case()
    item, key = piece(case), uuid4()
    first = send(item, "intake", key=key, occurred_at=timezone.now() - timedelta(days=1))
    scan_through(item, until="sintering")
    hold(cast.manager(), case, "Which shade?")
    assert send(item, "intake", key=key).scan == first.scan


def test_a_key_cannot_name_two_scans() -> None:
    case, key = released_case(), uuid4()
    send(piece(case), "intake", key=key)
    refusal = refused(piece(case, "abutment"), "intake", key=key)
    assert refusal.faults[0].field == "key"
    assert "Send a fresh key" in refusal.faults[0].message


def test_a_second_trigger_within_ten_seconds_counts_once() -> None:
    item = piece(released_case())
    first = send(item, "intake")
    again = send(item, "intake", occurred_at=first.scan.occurred_at + timedelta(seconds=9))
    assert (again.scan, again.repeated) == (first.scan, True)
    assert Scan.objects.count() == 1
    assert item.steps.get(seq=1).state == "running"


def test_after_ten_seconds_it_is_another_scan() -> None:
    item = piece(released_case())
    first = send(item, "intake", occurred_at=timezone.now() - MINUTE)
    second = send(item, "intake", occurred_at=first.scan.occurred_at + timedelta(seconds=10))
    assert (second.scan.action, second.repeated) == ("done", False)


def test_a_second_trigger_stays_one_however_late_it_is_sent_again() -> None:
    item, key = piece(released_case()), uuid4()
    first = send(item, "intake", occurred_at=timezone.now() - MINUTE)
    send(item, "intake", key=key, occurred_at=first.scan.occurred_at + timedelta(seconds=1))
    late = send(item, "intake", key=key)
    assert (late.scan, late.repeated) == (first.scan, True)
    assert Scan.objects.count() == 1


def test_another_action_within_ten_seconds_is_no_second_trigger() -> None:
    item = piece(released_case())
    send(item, "intake", action="start")
    assert send(item, "intake", action="done").repeated is False


def test_scans_cannot_be_changed_or_deleted() -> None:
    item = piece(released_case())
    first = send(item, "intake")
    send(item, "intake")
    for rows in (Scan.objects.all(), ScanKey.objects.all()):
        assert rows.exists()
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
            rows.update(key=uuid4())
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
            rows._raw_delete(rows.db)
    assert Scan.objects.get() == first.scan


# Lots


def test_what_is_made_inherits_the_lot_that_is_in_use() -> None:
    item = piece(released_case())
    scan_through(item, until="sintering")
    use = LotUse.objects.get(item=item)
    assert (use.lot, use.step.plan.name, use.attempt) == (Lot.objects.get(what="zirconia_4y"), "mill", 1)


def test_a_one_piece_crown_inherits_its_titanium_base_and_screw_too() -> None:
    case = finished_case(items=[orders.screw_crown()])
    item = case.work_items.get()
    scan_through(item)
    assert [use.lot.what for use in item.lot_uses.order_by("pk")] == ["zirconia_4y", "titanium_base", "screw"]


def test_without_a_lot_in_use_the_step_does_not_start() -> None:
    item = piece(released_case())
    scan_through(item, until="milling")
    LotInUse.objects.filter(what="zirconia_4y").delete()
    assert sentence(item, "milling") == (
        "No lot of Zirconia 4Y is in use at Dry milling. Scan or enter the lot there first."
    )


def test_an_expired_lot_is_refused() -> None:
    item = piece(released_case())
    scan_through(item, until="milling")
    Lot.objects.filter(what="zirconia_4y").update(expires=timezone.localdate() - timedelta(days=1))
    assert "expired on" in sentence(item, "milling")


def test_a_lot_may_be_used_to_the_end_of_its_last_day() -> None:
    item = piece(released_case())
    scan_through(item, until="milling")
    Lot.objects.filter(what="zirconia_4y").update(expires=timezone.localdate())
    assert send(item, "milling").repeated is False


def test_a_step_keeps_the_lot_with_which_it_began() -> None:
    item = piece(released_case())
    scan_through(item, until="milling")
    send(item, "milling", action="start")
    use_lot(cast.technician(), Station.objects.get(code="milling"), "zirconia_4y", "Z-9", "Other Disc")
    send(item, "milling", action="done")
    assert item.lot_uses.get().lot.number != "Z-9"


# What is refused


def test_people_of_a_practice_cannot_scan() -> None:
    assert "Only people of the laboratory" in sentence(
        piece(released_case()), "intake", kind=Forbidden, actor=cast.prescriber()
    )


def test_a_misread_code_is_refused() -> None:
    item = piece(released_case())
    wrong = item.code[:-1] + str((int(item.code[-1]) + 1) % 10)
    refusal = refused(item, "intake", kind=Refusal, code=wrong)
    assert (refusal.faults[0].field, "Scan it again" in refusal.faults[0].message) == ("code", True)


def test_something_that_is_no_code_is_refused() -> None:
    assert "it has 10 digits" in sentence(piece(released_case()), "intake", kind=Refusal, code="HT-20418")


def test_an_unknown_code_is_refused() -> None:
    unknown = codes.with_check("199999901")
    why = sentence(piece(released_case()), "intake", kind=Refusal, code=unknown)
    assert f"No piece of this laboratory bears the code {unknown}" in why


def test_the_code_of_a_whole_case_is_refused() -> None:
    item = piece(released_case())
    whole = codes.with_check(f"{item.case.number}00")
    assert "Scan the code of one of its pieces" in sentence(item, "intake", kind=Refusal, code=whole)


def test_an_unknown_station_is_refused() -> None:
    refusal = refused(piece(released_case()), "kitchen", kind=Refusal)
    assert refusal.faults[0].field == "station"
    assert "There are: intake, model, design" in refusal.faults[0].message


def test_an_unknown_action_is_refused() -> None:
    assert "Say start, done" in sentence(piece(released_case()), "intake", kind=Refusal, action="scrap")


def test_a_station_that_is_not_next_is_refused_and_the_next_is_named() -> None:
    item = piece(released_case())
    refusal = refused(item, "milling")
    assert refusal.faults[0].field == "station"
    assert refusal.faults[0].message == f"{item} goes next to Intake, not Dry milling."


def test_a_piece_that_is_in_work_elsewhere_is_refused_there() -> None:
    item = piece(released_case())
    send(item, "intake")
    assert sentence(item, "design") == f"{item} is in work at Intake, not Design."


def test_titanium_at_a_furnace_is_refused_whatever_is_next() -> None:
    item = piece(released_case(), "abutment")
    assert sentence(item, "sintering") == "V02: Titanium alloy must not go into a sintering furnace."
    assert sentence(item, "crystallisation") == "V02: Titanium alloy must not go into a crystallisation oven."


def test_zirconia_at_the_crystallisation_oven_is_refused() -> None:
    assert "Zirconia 4Y must not go into" in sentence(piece(released_case()), "crystallisation")


def test_start_while_it_runs_and_done_while_it_waits_are_refused() -> None:
    item = piece(released_case())
    assert "was not started at Intake" in sentence(item, "intake", action="done")
    send(item, "intake", occurred_at=timezone.now() - MINUTE)
    assert "is in work at Intake already" in sentence(item, "intake", action="start")


def test_a_crown_is_finished_only_on_its_finished_abutment() -> None:
    case = released_case()
    abutment, crown = piece(case, "abutment"), piece(case)
    scan_through(crown, until="finishing")
    assert f"waits for its abutment {abutment.code}, which is at Intake" in sentence(crown, "finishing")
    scan_through(abutment, until="finishing")
    assert "which is at Finishing" in sentence(crown, "finishing")
    scan_through(abutment, until="quality")
    assert send(crown, "finishing").scan.action == "start"


def test_a_crown_without_an_abutment_in_the_case_waits_for_none() -> None:
    crown = piece(released_case(items=[orders.crown()]))
    scan_through(crown, until="finishing")
    assert send(crown, "finishing").repeated is False


def test_a_crown_does_not_wait_for_the_abutment_of_another_tooth() -> None:
    case = released_case(items=[orders.abutment("8"), orders.crown("9")])
    crown = piece(case)
    scan_through(crown, until="finishing")
    assert send(crown, "finishing").repeated is False


def test_a_case_is_packed_only_as_a_whole() -> None:
    case = released_case()
    abutment, crown = piece(case, "abutment"), piece(case)
    scan_through(abutment, until="packing")
    why = sentence(abutment, "packing")
    assert "packed as a whole" in why
    assert f"{crown} is at Intake" in why


def test_a_packed_piece_is_refused() -> None:
    case = finished_case()
    item = piece(case)
    scan_through(item)
    assert "is finished" in sentence(item, "packing")
    assert "is finished" in sentence(item, "intake")


@pytest.mark.parametrize("state", ["packed", "shipped"])
def test_a_piece_of_a_packed_case_is_refused(state: str) -> None:
    case = finished_case()
    Case.objects.filter(pk=case.pk).update(state=state)
    assert "There is nothing more to scan" in sentence(piece(case), "packing")


def test_a_piece_of_a_cancelled_case_is_refused() -> None:
    case = released_case()
    crown = piece(case)
    stop(cast.manager(), case, "No longer wanted")
    assert "was cancelled. Take" in sentence(crown, "intake")


def test_a_case_on_hold_is_refused_until_it_is_resumed() -> None:
    case = released_case()
    hold(cast.manager(), case, "Which shade?")
    assert "on hold (“Which shade?”)" in sentence(piece(case), "intake")
    resume(cast.manager(), case)
    assert send(piece(case), "intake").repeated is False


def change(case: Case, **facts: Any) -> None:
    """A new version of the prescription, signed: the crown in another shade, or what `facts` say."""
    doctor = cast.prescriber()
    amend(doctor, case)
    edit_draft(doctor, case, **orders.order(**{"items": [orders.abutment(), orders.crown(shade="D1")], **facts}))
    sign(doctor, case)


def changed_case() -> tuple[Case, WorkItem]:
    """A case on the floor of which the crown was changed, and that crown."""
    case = released_case()
    change(case)
    return case, piece(case)


def test_after_an_amendment_nothing_moves_until_the_new_version_is_released() -> None:
    case, crown = changed_case()
    abutment = piece(case, "abutment")
    for item in (crown, abutment):
        assert "The lab manager must release the new version" in sentence(item, "intake")
    release(cast.manager(), case)
    assert send(abutment, "intake").repeated is False


def test_what_began_before_a_hold_may_end_and_nothing_new_begins() -> None:
    case = released_case()
    item = piece(case)
    send(item, "intake", action="start", occurred_at=timezone.now() - 30 * MINUTE)
    hold(cast.manager(), case, "Which shade?")
    assert "is in work at Intake already" in sentence(item, "intake", action="start")
    assert send(item, "intake", occurred_at=timezone.now() - 10 * MINUTE).scan.action == "done"
    assert item.steps.get(seq=1).state == "done"
    assert "on hold (“Which shade?”)" in sentence(item, "design")


def test_what_began_before_an_amendment_may_end_and_nothing_new_begins() -> None:
    case = released_case()
    item = piece(case)
    send(item, "intake", action="start")
    change(case)
    assert send(item, "intake", action="done").repeated is False
    assert "The lab manager must release the new version" in sentence(item, "design")


def at_the_last_check(**facts: Any) -> tuple[Case, WorkItem]:
    """A case of one crown which is in work at the quality check, its last step before packing."""
    case = released_case(items=[orders.crown()], **facts)
    crown = piece(case)
    scan_through(crown, until="quality")
    send(crown, "quality", action="start", occurred_at=timezone.now() - MINUTE)
    return case, crown


def test_the_last_check_that_ends_during_a_hold_finishes_the_case_which_stays_on_hold() -> None:
    case, crown = at_the_last_check()
    hold(cast.manager(), case, "Which shade?")
    send(crown, "quality", action="done")
    case.refresh_from_db()
    assert (case.state, case.on_hold) == ("finished", True)
    assert "on hold (“Which shade?”)" in sentence(crown, "packing")
    resume(cast.manager(), case)
    assert send(crown, "packing").repeated is False


def test_the_last_check_that_ends_after_an_amendment_does_not_finish_the_case() -> None:
    case, crown = at_the_last_check()
    change(case, items=[orders.crown(), orders.abutment()])
    send(crown, "quality", action="done")
    case.refresh_from_db()
    assert case.state == "released"
    release(cast.manager(), orders.confirm_all(case))
    case.refresh_from_db()
    assert (case.state, piece(case).pk, piece(case, "abutment").state) == ("released", crown.pk, "open")


def test_the_release_of_an_amendment_that_changes_no_piece_finishes_a_case_that_is_through() -> None:
    case, crown = at_the_last_check()
    change(case, items=[orders.crown()], note="Call before you send it.")
    send(crown, "quality", action="done")
    case.refresh_from_db()
    assert case.state == "released"
    release(cast.manager(), case)
    case.refresh_from_db()
    assert case.state == "finished"


def test_a_withdrawn_piece_is_refused_and_the_new_one_is_named() -> None:
    case, crown = changed_case()
    release(cast.manager(), case)
    assert f"was withdrawn. It is made anew as {piece(case).code}" in sentence(crown, "intake")


def test_a_piece_that_is_no_longer_ordered_is_refused() -> None:
    case = released_case()
    crown = piece(case)
    change(case, items=[orders.abutment()])
    release(cast.manager(), case)
    assert "The prescription no longer has it" in sentence(crown, "intake")


def test_a_scan_takes_a_bounded_number_of_queries(django_assert_max_num_queries: Any) -> None:
    item, technician = piece(released_case()), cast.technician()
    with django_assert_max_num_queries(20):
        scan(technician, key=uuid4(), code=item.code, station="intake")
