"""Reading the floor: rows as they were written by the real verbs become plain facts."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from labqueue.base.models import ClosedDay, Event
from labqueue.planning.floor import latest_event, look
from labqueue.planning.shop import state
from labqueue.planning.snapshot import Hours, OpenCase, Place
from labqueue.production.models import Absence, Resource, Route
from orders.cancel import cancel
from orders.hold import hold
from orders.models import Case
from tests import cast
from tests.orders.build import abutment, accepted_case, crown, draft_case, screw_crown, signed_case
from tests.production.build import finished_case, piece, released_case, scan_through, send, shop

pytestmark = pytest.mark.django_db


def seen(case: Case) -> OpenCase:
    """The case in a snapshot of now."""
    return next(opened for opened in look(timezone.now()).cases if opened.number == case.number)


def stations_left(opened: OpenCase, line: int) -> list[str]:
    """Where the piece of that line has still to go."""
    [found] = [piece for piece in opened.pieces if piece.line == line]
    return [step.station for step in found.steps if step.done_at is None]


def test_the_laboratory_is_read_as_it_was_set_up() -> None:
    shop()
    snapshot = look(timezone.now())
    assert list(snapshot.stations)[:3] == ["intake", "model", "design"]
    assert snapshot.stations["quality"] == Place("Quality check", "edd", checks=True)
    assert snapshot.hours["furnaces"].always is cast.laboratory()["shifts"]["furnaces"].get("always", False)
    assert snapshot.hours["early"] == Hours(cast.laboratory()["shifts"]["early"]["week"])
    assert snapshot.furnaces == {"sintering", "crystallisation"}
    assert snapshot.zone == "America/New_York"


def test_servers_have_their_stations_counts_and_loads() -> None:
    shop()
    servers = {server.name: server for server in look(timezone.now()).servers}
    for stated in cast.laboratory()["resources"]:
        server = servers.pop(stated["name"])
        assert server.stations == tuple(stated["stations"])
        assert (server.hours, server.count) == (stated["shift"], stated.get("count", 1))
        assert (server.pauses, server.load) == (stated.get("pauses", True), stated.get("load"))
    assert servers == {}


def test_absences_that_are_over_are_not_read() -> None:
    shop()
    now = timezone.now()
    designers = Resource.objects.get(name="Designers")
    for begin in (-5, -1, 3):
        start = now + timedelta(days=begin)
        Absence.objects.create(resource=designers, start=start, end=start + timedelta(days=2))
    [server] = [server for server in look(now).servers if server.name == "Designers"]
    assert [start for start, _ in server.away] == [now - timedelta(days=1), now + timedelta(days=3)]


def test_closed_days_are_read() -> None:
    soon = timezone.localdate() + timedelta(days=3)
    ClosedDay.objects.create(day=soon, name="Harbour day")
    ClosedDay.objects.create(day=date(2020, 1, 1), name="Long ago")
    assert look(timezone.now()).closed == {soon}


def test_routes_are_those_in_use_with_their_steps() -> None:
    shop()
    routes = look(timezone.now()).routes
    assert set(routes) == set(cast.laboratory()["routes"])
    sinter = next(step for step in routes["zirconia_crown"] if step.name == "sinter")
    stated = next(step for step in cast.laboratory()["routes"]["zirconia_crown"] if step["name"] == "sinter")
    assert (sinter.station, sinter.minutes, sinter.wait) == (stated["station"], stated["minutes"], stated["wait"])
    assert (sinter.fail, sinter.back_to) == (stated["fail"], stated["back_to"])
    assert [step.name for step in routes["zirconia_crown"] if step.joins] == ["finish"]


@pytest.mark.parametrize("build", [signed_case, accepted_case])
def test_a_case_before_its_release_has_the_pieces_of_its_prescription(build: Any) -> None:
    shop()
    opened = seen(build())
    assert [(piece.line, piece.kind, piece.material) for piece in opened.pieces] == [
        (1, "abutment", "titanium"),
        (2, "crown", "zirconia_4y"),
    ]
    assert all(piece.released_at is None for piece in opened.pieces)
    assert stations_left(opened, 2)[:3] == ["intake", "design", "milling"]


def test_a_case_on_the_floor_has_its_work_items_as_far_as_they_are() -> None:
    case = released_case()
    item = piece(case)
    scan_through(item, until="milling")
    send(item, "milling")
    opened = seen(case)
    assert opened.due_at == case.due_at
    [crown] = [found for found in opened.pieces if found.line == item.line]
    assert [step.name for step in crown.steps if step.done_at] == ["intake", "design"]
    assert [step.name for step in crown.steps if step.running] == ["mill"]
    assert crown.released_at == item.released_at


def test_a_finished_case_has_only_its_packing_left() -> None:
    opened = seen(finished_case())
    assert {station for piece in opened.pieces for station in stations_left(opened, piece.line)} == {"packing"}


def test_a_hold_is_read() -> None:
    case = released_case()
    hold(cast.manager(), case, "The implant's label cannot be read.")
    case.refresh_from_db()
    assert case.on_hold
    assert seen(case).held_since == case.held_since


def test_drafts_and_cancelled_cases_are_not_read() -> None:
    shop()
    draft_case()
    gone = accepted_case(patient_ref="K-2042")
    cancel(cast.manager(), gone, "No longer wanted")
    snapshot = look(timezone.now())
    assert snapshot.cases == ()
    assert snapshot.ordered == ()


def test_a_case_whose_make_has_no_route_says_so() -> None:
    shop()
    Route.objects.filter(make="zirconia_crown").update(active=False)
    opened = seen(accepted_case())
    assert opened.pieces == ()
    assert opened.unstated == "there is no route in use for: Zirconia crown"


def test_orders_of_the_last_weeks_are_read_piece_by_piece() -> None:
    shop()
    case = signed_case(items=[abutment("8"), crown("8"), screw_crown("9")])
    ordered = look(timezone.now()).ordered
    assert [piece.make for piece in ordered] == ["metal_abutment", "zirconia_crown", "zirconia_screw_crown"]
    assert {piece.due_at for piece in ordered} == {case.first_due_at}
    assert look(timezone.now() + timedelta(days=29)).ordered == ()


def test_the_version_is_the_last_event() -> None:
    assert latest_event() == 0
    shop()
    signed_case()
    assert look(timezone.now()).version == latest_event() == Event.objects.order_by("pk").last().pk  # type: ignore[union-attr]


def test_reading_takes_the_same_number_of_queries_for_one_case_and_for_five() -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert look(timezone.now()).cases
        return len(captured)

    released_case()
    accepted_case(patient_ref="K-2042")
    first = queries()
    for number in range(4):
        released_case(patient_ref=f"K-205{number}")
        accepted_case(patient_ref=f"K-206{number}")
    assert queries() == first


def test_the_engine_takes_the_floor_as_it_is_read() -> None:
    case = released_case()
    scan_through(piece(case), until="milling")
    send(piece(case), "milling")
    held = released_case(patient_ref="K-2042")
    hold(cast.manager(), held, "The implant's label cannot be read.")
    accepted_case(patient_ref="K-2043")
    stated = state(look(timezone.now()))
    assert stated.left_out == {}
    assert len(stated.shop.jobs) == 3
    assert len(stated.shop.arrivals) == 2
