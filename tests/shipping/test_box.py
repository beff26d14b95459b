"""Laying pieces into a box: each counts once, a piece of another case is refused loudly."""

import pytest

from labqueue.base.codes import with_check
from labqueue.base.errors import Conflict, Forbidden, Refusal
from labqueue.production.models import LotInUse, LotUse, Scan, WorkItem
from orders.hold import hold
from orders.models import Case
from shipping.box import places, put_in
from tests import cast
from tests.orders.build import abutment, crown
from tests.production.build import finished_case, piece, released_case, send

pytestmark = pytest.mark.django_db


def in_box(case: Case) -> list[str]:
    """The codes of the pieces that lie in the box."""
    return [place.piece.code for place in places(case) if place.in_box]


def test_a_piece_is_scanned_through_packing_at_once() -> None:
    case = finished_case()
    item = piece(case, "abutment")
    result = put_in(cast.shipper(), case, item.code)
    assert (result.item, result.repeated, result.scan.action) == (item, False, "done")
    assert in_box(case) == [item.code]
    assert list(item.scans.filter(station__code="packing").values_list("action", flat=True)) == ["start", "done"]
    assert item.scans.latest("id").by == cast.shipper()


def test_the_screw_that_goes_into_the_box_is_on_record() -> None:
    case = finished_case()
    item = piece(case, "abutment")
    put_in(cast.shipper(), case, item.code)
    assert LotUse.objects.filter(item=item, lot__what="screw").count() == 1


def test_a_second_scan_of_a_piece_changes_nothing() -> None:
    case = finished_case()
    item = piece(case, "abutment")
    put_in(cast.shipper(), case, item.code)
    scans = Scan.objects.count()
    again = put_in(cast.shipper(), case, item.code)
    assert (again.item, again.repeated) == (item, True)
    assert Scan.objects.count() == scans


def test_a_piece_that_was_begun_at_the_bench_is_ended() -> None:
    case = finished_case()
    item = piece(case, "crown")
    send(item, "packing", action="start")
    assert put_in(cast.shipper(), case, item.code).scan.action == "done"
    assert in_box(case) == [item.code]


def test_a_piece_of_another_case_is_refused_by_name() -> None:
    case = finished_case()
    other = finished_case(items=[abutment("9"), crown("9")])
    stray = piece(other, "crown")
    scans = Scan.objects.count()
    with pytest.raises(Conflict, match="WRONG BOX") as refused:
        put_in(cast.shipper(), case, stray.code)
    assert other.number in str(refused.value)
    assert stray.code in str(refused.value)
    assert refused.value.faults[0].field == "code"
    assert (Scan.objects.count(), in_box(case), in_box(other)) == (scans, [], [])


@pytest.mark.parametrize(
    ("code", "why"),
    [("", "not a code"), ("hello", "not a code"), ("9999999990", "No piece|misread"), ("26000010999", "not a code")],
)
def test_what_is_no_code_is_refused(code: str, why: str) -> None:
    case = finished_case()
    scans = Scan.objects.count()
    with pytest.raises(Refusal, match=why):
        put_in(cast.shipper(), case, code)
    assert Scan.objects.count() == scans


def test_the_code_of_the_case_itself_is_no_piece() -> None:
    case = finished_case()
    with pytest.raises(Refusal, match="as a whole"):
        put_in(cast.shipper(), case, with_check(f"{case.number}00"))
    assert in_box(case) == []


def test_a_case_that_is_not_finished_takes_nothing_into_its_box() -> None:
    case = released_case()
    scans = Scan.objects.count()
    with pytest.raises(Conflict):
        put_in(cast.shipper(), case, piece(case).code)
    assert (Scan.objects.count(), in_box(case)) == (scans, [])


def test_a_case_on_hold_takes_nothing_into_its_box() -> None:
    case = finished_case()
    hold(cast.manager(), case, "Which shade?")
    with pytest.raises(Conflict, match="Which shade"):
        put_in(cast.shipper(), case, piece(case).code)
    assert in_box(case) == []


def test_without_a_lot_of_screws_nothing_is_packed() -> None:
    case = finished_case()
    LotInUse.objects.filter(what="screw").delete()
    with pytest.raises(Conflict, match="No lot of Clinical screw"):
        put_in(cast.shipper(), case, piece(case, "abutment").code)
    assert in_box(case) == []


def test_nobody_of_a_practice_fills_a_box() -> None:
    case = finished_case()
    with pytest.raises(Forbidden):
        put_in(cast.prescriber(), case, piece(case).code)
    assert in_box(case) == []


def test_a_piece_that_was_withdrawn_has_no_place() -> None:
    case = finished_case()
    item = piece(case, "crown")
    WorkItem.objects.filter(pk=item.pk).update(state=WorkItem.State.WITHDRAWN)
    assert [place.piece.kind for place in places(case)] == ["abutment"]


def test_places_say_where_each_piece_is() -> None:
    case = finished_case()
    put_in(cast.shipper(), case, piece(case, "abutment").code)
    first, second = places(case)
    assert (first.piece.kind, first.in_box, first.waits, first.step) == ("abutment", True, False, None)
    assert (second.piece.kind, second.in_box, second.waits) == ("crown", False, True)
    assert second.tooth == {"number": "8", "notation": "Universal, FDI 11", "words": "upper right central incisor"}
