"""Releasing a case to the floor, and again after an amendment."""

from typing import Any

import pytest
from django.db import IntegrityError, transaction

from labqueue.base import audit, codes
from labqueue.base.errors import Conflict, Forbidden
from labqueue.base.models import Event
from labqueue.production.models import Route, RouteStep, Station, WorkItem, WorkStep
from labqueue.production.pieces import amended
from labqueue.production.release import release
from orders.hold import hold
from orders.intake import edit_draft
from orders.models import Case
from orders.signoff import amend, sign
from tests import cast
from tests.orders import build as orders
from tests.production.build import piece, released_case, scan_through, send, shop

pytestmark = pytest.mark.django_db


def amended_case(case: Case, **facts: Any) -> Case:
    """The case with a new version signed; what is not given stays as it was ordered first."""
    doctor = cast.prescriber()
    amend(doctor, case)
    edit_draft(doctor, case, **{**orders.order(), **facts})
    sign(doctor, case)
    return case


def refused(case: Case, kind: type[Conflict] = Conflict) -> str:
    """The sentence with which the release is refused; nothing may have been written."""
    before = (list(WorkItem.objects.values()), list(WorkStep.objects.values()), Event.objects.count(), case.state)
    with pytest.raises(kind) as caught:
        release(cast.manager(), case)
    case.refresh_from_db()
    after = (list(WorkItem.objects.values()), list(WorkStep.objects.values()), Event.objects.count(), case.state)
    assert before == after
    return caught.value.faults[0].message


def test_a_case_goes_to_the_floor_as_one_work_item_per_piece() -> None:
    shop()
    case = orders.confirmed_case()
    items = release(cast.manager(), case)
    case.refresh_from_db()
    assert case.state == "released"
    assert [(item.line, item.kind, item.tooth, item.material, item.shade) for item in items] == [
        (1, "abutment", 11, "titanium", ""),
        (2, "crown", 11, "zirconia_4y", "N2"),
    ]
    assert {item.prescription_id for item in items} == {case.current_id}


def test_a_code_is_the_case_the_line_and_a_check_digit() -> None:
    case = released_case()
    for item in case.work_items.all():
        assert len(item.code) == 10
        assert item.code == codes.with_check(f"{case.number}{item.line:02d}")


def test_each_piece_has_the_steps_of_its_route_all_waiting() -> None:
    case = released_case()
    crown = piece(case)
    assert crown.route == Route.objects.get(make="zirconia_crown", active=True)
    plans = list(RouteStep.objects.filter(route=crown.route))
    steps = list(crown.steps.all())
    assert [(step.plan, step.seq, step.station, step.state, step.attempt) for step in steps] == [
        (plan, plan.seq, plan.station, "waiting", 1) for plan in plans
    ]


def test_the_release_stands_in_the_trail_of_the_case() -> None:
    case = released_case()
    events = audit.trail(case)[-2:]
    assert [event.verb for event in events] == ["laid out", "released"]
    assert events[0].after == {"prescription": 1, "made": [item.code for item in case.work_items.all()]}
    assert events[1].actor == cast.manager()


def test_a_case_keeps_the_route_under_which_it_was_released() -> None:
    crown = piece(released_case())
    Route.objects.filter(pk=crown.route_id).update(active=False)
    Route.objects.create(make="zirconia_crown", version=2)
    crown.refresh_from_db()
    assert crown.route.version == 1


def test_people_of_a_practice_cannot_release() -> None:
    shop()
    case = orders.confirmed_case()
    with pytest.raises(Forbidden):
        release(cast.prescriber(), case)
    assert not WorkItem.objects.exists()


def test_a_case_that_is_not_accepted_is_refused() -> None:
    shop()
    assert "Only an accepted case" in refused(orders.signed_case())


def test_a_case_on_hold_is_refused() -> None:
    shop()
    case = orders.confirmed_case()
    hold(cast.manager(), case, "Which shade?")
    assert "on hold (“Which shade?”)" in refused(case)


def test_a_released_case_is_not_released_again_without_a_change() -> None:
    assert "nothing changed since" in refused(released_case())


def test_a_make_without_a_route_is_refused() -> None:
    shop()
    Route.objects.filter(make="zirconia_crown").update(active=False)
    assert "no route for “Zirconia crown”" in refused(orders.confirmed_case())


def reroute(make: str, old: str, new: str) -> None:
    """Send pieces of that make to another station."""
    steps = RouteStep.objects.filter(route__make=make, station__code=old)
    steps.update(station=Station.objects.get(code=new))


@pytest.mark.parametrize(
    ("make", "old", "new", "items", "sentence"),
    [
        ("metal_abutment", "model", "sintering", [orders.abutment()], "Titanium alloy must not go into a sintering"),
        ("metal_abutment", "model", "crystallisation", [orders.abutment()], "Titanium alloy must not go into a cryst"),
        ("zirconia_screw_crown", "sintering", "model", [orders.screw_crown()], "needs a step at a sintering furnace"),
        ("zirconia_screw_crown", "bonding", "crystallisation", [orders.screw_crown()], "Zirconia 4Y must not go into"),
        (
            "glass_screw_crown",
            "crystallisation",
            "model",
            [orders.screw_crown(material="lithium_disilicate")],
            "needs a step at a crystallisation oven",
        ),
    ],
)
def test_a_route_that_would_spoil_the_material_is_refused(
    make: str, old: str, new: str, items: list[Any], sentence: str
) -> None:
    shop()
    reroute(make, old, new)
    assert sentence in refused(orders.confirmed_case(items=items))


def test_the_refusal_of_a_route_names_the_item() -> None:
    shop()
    reroute("zirconia_crown", "sintering", "model")
    with pytest.raises(Conflict) as caught:
        release(cast.manager(), orders.confirmed_case())
    assert caught.value.faults[0].field == "items.1.material"


def test_after_an_amendment_an_unchanged_piece_goes_on_and_a_changed_one_is_made_anew() -> None:
    case = released_case()
    abutment, crown = piece(case, "abutment"), piece(case)
    scan_through(abutment, until="wet-milling")
    amended_case(case, items=[orders.abutment(), orders.crown(shade="D1")])
    assert amended(case)
    items = release(cast.manager(), case)
    crown.refresh_from_db()
    assert crown.state == "withdrawn"
    assert [(item.line, item.kind, item.shade) for item in items] == [(1, "abutment", ""), (3, "crown", "D1")]
    assert items[0] == abutment
    assert items[0].steps.filter(state="done").count() == abutment.steps.filter(state="done").count() > 0
    assert {item.prescription_id for item in items} == {case.current_id}
    assert not amended(case)


def test_a_new_version_without_a_change_of_pieces_keeps_them_all() -> None:
    case = released_case()
    before = [item.pk for item in case.work_items.all()]
    amended_case(case, note="The patient prefers the morning.")
    assert [item.pk for item in release(cast.manager(), case)] == before
    assert case.state == "released"


def test_pieces_are_told_apart_by_tooth_and_kind_not_by_line() -> None:
    case = released_case()
    amended_case(case, items=[orders.crown(), orders.abutment()])
    items = release(cast.manager(), case)
    assert [(item.line, item.kind) for item in items] == [(1, "abutment"), (2, "crown")]


def test_a_crown_is_fitted_again_when_its_abutment_is_made_anew() -> None:
    case = released_case()
    abutment, crown = piece(case, "abutment"), piece(case)
    scan_through(abutment, until="quality")
    scan_through(crown, until="quality")
    assert crown.steps.get(plan__joins=True).state == "done"
    amended_case(case, items=[orders.abutment(material="zirconia_3y"), orders.crown()])
    items = release(cast.manager(), case)
    assert [item.line for item in items] == [2, 3]
    join = crown.steps.get(plan__joins=True)
    assert (join.state, join.attempt, join.started_at, join.done_at) == ("waiting", 2, None, None)
    assert crown.steps.get(seq=join.seq - 1).state == "done"
    with pytest.raises(Conflict, match="waits for its abutment"):
        send(crown, "finishing")
    scan_through(piece(case, "abutment"), until="quality")
    assert send(crown, "finishing").scan.attempt == 2


def test_a_case_becomes_finished_when_the_change_drops_the_last_open_piece() -> None:
    case = released_case(items=[orders.screw_crown("8"), orders.screw_crown("9")])
    first = case.work_items.get(line=1)
    scan_through(first, until="packing")
    amended_case(case, items=[orders.screw_crown("8")])
    release(cast.manager(), case)
    case.refresh_from_db()
    assert case.state == "finished"
    assert case.finished_at is not None


def test_the_database_keeps_one_live_piece_per_tooth_and_kind() -> None:
    crown = piece(released_case())
    crown.pk, crown.line, crown.code = None, 9, codes.with_check(f"{crown.case.number}09")
    with pytest.raises(IntegrityError), transaction.atomic():
        crown.save(force_insert=True)
    crown.state = "withdrawn"
    crown.save(force_insert=True)
    assert WorkItem.objects.filter(case=crown.case, kind="crown").count() == 2
