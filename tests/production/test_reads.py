"""Queues, work in process and progress: what is shown, in which order, in how many queries."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from labqueue.base.models import Event, User
from labqueue.production import reads
from labqueue.production.models import Station
from labqueue.production.release import release
from labqueue.production.scan import result_of
from labqueue.production.stop import stop
from orders.hold import hold
from orders.intake import edit_draft
from orders.models import Case, Outlook
from orders.outlook import record
from orders.signoff import amend, sign
from tests import cast
from tests.orders import build as orders
from tests.production.build import finished_case, piece, released_case, scan_through, send

pytestmark = pytest.mark.django_db
ONE_CROWN = {"items": [orders.screw_crown()]}


def at(code: str) -> Station:
    """The station of that code."""
    return Station.objects.get(code=code)


def queue(code: str) -> list[tuple[str, str]]:
    """The case numbers in the queue, each with why it is stopped."""
    return [(line.case.number, line.stopped) for line in reads.queue(at(code))]


def test_a_piece_stands_in_the_queue_of_its_next_station_only() -> None:
    case = released_case(**ONE_CROWN)
    assert queue("intake") == [(case.number, "")]
    scan_through(case.work_items.get(), until="design")
    assert queue("intake") == []
    assert queue("design") == [(case.number, "")]
    assert queue("milling") == []


def test_a_piece_in_work_says_so() -> None:
    case = released_case(**ONE_CROWN)
    assert [line.running for line in reads.queue(at("intake"))] == [False]
    send(case.work_items.get(), "intake")
    assert [line.running for line in reads.queue(at("intake"))] == [True]


def test_the_queue_is_ordered_by_due_date_earliest_first() -> None:
    later = released_case(**ONE_CROWN, seat_at=orders.seat_in(20))
    sooner = released_case(**ONE_CROWN, seat_at=orders.seat_in(12))
    dateless = released_case(**ONE_CROWN)
    Case.objects.filter(pk=dateless.pk).update(due_at=None)
    assert [number for number, _ in queue("intake")] == [sooner.number, later.number, dateless.number]


def test_held_and_amended_cases_stand_behind_and_say_why() -> None:
    held = released_case(**ONE_CROWN, seat_at=orders.seat_in(10))
    changed = released_case(**ONE_CROWN, seat_at=orders.seat_in(11))
    free = released_case(**ONE_CROWN, seat_at=orders.seat_in(15))
    hold(cast.manager(), held, "Which shade?")
    amend(cast.prescriber(), changed)
    edit_draft(
        cast.prescriber(),
        changed,
        **orders.order(patient_ref=changed.patient_ref, items=[orders.screw_crown(shade="D1")]),
    )
    sign(cast.prescriber(), changed)
    assert queue("intake") == [
        (free.number, ""),
        (held.number, "On hold: Which shade?"),
        (changed.number, "The prescription was changed and is not released again"),
    ]
    release(cast.manager(), changed)
    assert (changed.number, "") in queue("intake")


def test_a_crown_without_its_abutment_and_a_piece_without_its_case_are_stopped() -> None:
    case = released_case()
    abutment, crown = piece(case, "abutment"), piece(case)
    scan_through(crown, until="finishing")
    assert queue("finishing") == [(case.number, "Waits for its abutment")]
    scan_through(abutment, until="packing")
    assert queue("finishing") == [(case.number, "")]
    assert queue("packing") == [(case.number, "Waits for the other pieces of the case")]
    scan_through(crown, until="packing")
    assert queue("packing") == [(case.number, ""), (case.number, "")]


def hands(user: User) -> list[str]:
    """The codes of the pieces that a person has in hand."""
    return [step.item.code for step in reads.in_work_of(user)]


def test_in_a_persons_hands_is_what_that_person_began_in_the_order_of_its_beginning() -> None:
    first, second, anna = piece(released_case()), released_case(**ONE_CROWN).work_items.get(), cast.technician()
    send(second, "intake", anna, occurred_at=timezone.now() - timedelta(minutes=1))
    send(first, "intake", anna, occurred_at=timezone.now() - timedelta(minutes=2))
    send(piece(first.case, "abutment"), "intake", cast.manager())
    assert hands(anna) == [first.code, second.code]
    send(first, "intake", anna)
    assert hands(anna) == [second.code]


def test_pieces_of_a_cancelled_case_are_in_no_queue_no_count_and_nobodys_hands() -> None:
    case, anna = released_case(), cast.technician()
    send(piece(case), "intake", anna)
    assert (len(queue("intake")), reads.loads()[0].work_in_process, len(hands(anna))) == (2, 2, 1)
    stop(cast.manager(), case, "No longer wanted")
    assert (queue("intake"), hands(anna)) == ([], [])
    assert [load.work_in_process for load in reads.loads()] == [0] * Station.objects.count()


def test_a_withdrawn_piece_is_in_nobodys_hands() -> None:
    case, anna = released_case(**ONE_CROWN), cast.technician()
    send(case.work_items.get(), "intake", anna)
    amend(cast.prescriber(), case)
    edit_draft(
        cast.prescriber(), case, **orders.order(patient_ref=case.patient_ref, items=[orders.screw_crown(shade="D1")])
    )
    sign(cast.prescriber(), case)
    assert len(hands(anna)) == 1
    release(cast.manager(), case)
    assert hands(anna) == []


def test_the_hands_of_a_person_take_one_query() -> None:
    anna = cast.technician()
    for days in (12, 14):
        send(piece(released_case(seat_at=orders.seat_in(days))), "intake", anna)
    shown = [(s.item.case.practice.name, s.station.name, s.plan.name) for s in reads.in_work_of(anna)]
    assert len(shown) == 2
    assert queries(lambda: [(s.item.case.practice.name, s.plan.name) for s in reads.in_work_of(anna)]) == 1


def test_what_left_the_floor_is_in_no_queue() -> None:
    case = finished_case(**ONE_CROWN)
    assert queue("packing") == [(case.number, "")]
    Case.objects.filter(pk=case.pk).update(state="packed")
    assert queue("packing") == []


def test_a_line_shows_tooth_outlook_and_due_date() -> None:
    case = released_case(**ONE_CROWN)
    assert reads.queue(at("intake"))[0].outlook is None
    record([Outlook(case=case, late=0.3, made_at=timezone.now())])
    line = reads.queue(at("intake"))[0]
    assert line.outlook is not None
    assert (line.outlook.late, line.due_at) == (0.3, case.due_at)
    assert line.tooth == {"number": "8", "notation": "Universal, FDI 11", "words": "upper right central incisor"}


def queries(work: Any) -> int:
    """How many queries it takes."""
    with CaptureQueriesContext(
        connection,
    ) as caught:
        work()
    return len(caught)


def test_the_queue_takes_as_many_queries_for_many_as_for_one() -> None:
    def show() -> list[Any]:
        return [(line.stopped, line.outlook, line.tooth, line.step.plan.name) for line in reads.queue(at("finishing"))]

    scan_through(piece(released_case()), until="finishing")
    one = queries(show)
    for days in (12, 14, 16):
        case = released_case(seat_at=orders.seat_in(days))
        record([Outlook(case=case, late=0.1, made_at=timezone.now())])
        scan_through(piece(case), until="finishing")
    assert len(show()) == 4
    assert queries(show) == one <= 3


def test_work_in_process_counts_waiting_and_running_pieces_per_station() -> None:
    first, second = released_case(), released_case(**ONE_CROWN)
    send(piece(first), "intake")
    loads = {load.station.code: (load.waiting, load.running, load.work_in_process) for load in reads.loads()}
    assert loads["intake"] == (2, 1, 3)
    assert loads["design"] == (0, 0, 0)
    scan_through(second.work_items.get(), until="design")
    assert [load.waiting for load in reads.loads() if load.station.code == "design"] == [1]
    assert queries(reads.loads) == 2


def test_the_floor_of_a_case_is_its_live_pieces_with_their_steps() -> None:
    case = released_case()
    items = reads.floor_of(case)
    assert [item.kind for item in items] == ["abutment", "crown"]
    assert [step.plan.name for step in items[1].steps.all()][:3] == ["intake", "design", "mill"]
    assert queries(lambda: [s.station.name for item in reads.floor_of(case) for s in item.steps.all()]) <= 3


def test_a_case_that_is_not_released_has_no_floor() -> None:
    assert reads.floor_of(orders.signed_case()) == []


def test_progress_says_how_far_and_where() -> None:
    case = released_case(**ONE_CROWN)
    item = case.work_items.get()
    scan_through(item, until="design")
    progress = reads.progress(reads.floor_of(case)[0])
    assert (progress.done, progress.where) == (1, "Waits at Design")
    send(item, "design")
    assert reads.progress(reads.floor_of(case)[0]).where == "In work at Design"


def test_progress_of_a_packed_piece_is_whole() -> None:
    case = finished_case(**ONE_CROWN)
    scan_through(case.work_items.get())
    progress = reads.progress(reads.floor_of(case)[0])
    assert (progress.share, progress.where) == (1.0, "Packed")
    assert progress.text == f"{progress.steps} of {progress.steps} steps"


def test_the_version_is_the_newest_event_and_grows_with_every_scan() -> None:
    assert reads.version() == 0
    item = released_case(**ONE_CROWN).work_items.get()
    before = reads.version()
    send(item, "intake", occurred_at=timezone.now() - timedelta(minutes=1))
    assert reads.version() == Event.objects.latest("pk").pk > before


def test_a_result_is_found_again_by_its_key() -> None:
    result = send(released_case(**ONE_CROWN).work_items.get(), "intake")
    found = result_of(result.scan.key)
    assert found is not None
    assert (found.scan, found.repeated, found.tooth["number"]) == (result.scan, True, "8")
