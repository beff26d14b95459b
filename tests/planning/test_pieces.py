"""A case that was changed on the floor: forecast as its next release will lay it out, not as it lies there."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from labqueue.planning.floor import look
from labqueue.planning.shop import state
from labqueue.planning.snapshot import OpenCase, Piece
from labqueue.production.models import Route
from labqueue.production.release import release
from orders.intake import edit_draft
from orders.models import Case
from orders.signoff import amend, sign
from tests import cast
from tests.orders.build import abutment, confirm_all, crown, order
from tests.production.build import piece, released_case, scan_through

pytestmark = pytest.mark.django_db


def changed(case: Case, items: list[Any]) -> Case:
    """The case, changed to these items by its prescriber and signed again, as yet unknown to the floor."""
    doctor = cast.prescriber()
    amend(doctor, case)
    edit_draft(doctor, case, **order(patient_ref=case.patient_ref, seat_at=case.seat_at, items=items))
    sign(doctor, case)
    case.refresh_from_db()
    return case


def made_case(**facts: Any) -> Case:
    """A case of which all pieces wait for their quality check."""
    case = released_case(**facts)
    scan_through(piece(case, "abutment"), until="quality")
    scan_through(piece(case), until="quality")
    return case


def seen(case: Case) -> OpenCase:
    """The case in a snapshot of now."""
    return next(opened for opened in look(timezone.now()).cases if opened.number == case.number)


def progress(piece: Piece) -> tuple[Any, ...]:
    """What a piece is and how far it has come."""
    return piece.kind, piece.tooth, piece.material, [(step.name, step.done_at) for step in piece.steps]


def assert_as_released(case: Case) -> None:
    """Before its release the case is seen as after it."""
    before = sorted(progress(piece) for piece in seen(case).pieces)
    release(cast.manager(), confirm_all(case))
    assert before == sorted(progress(piece) for piece in seen(case).pieces)


def test_a_changed_piece_begins_again_and_the_other_stays_where_it_is() -> None:
    case = changed(made_case(), [abutment(), crown(layered=True)])
    found = {piece.kind: piece for piece in seen(case).pieces}
    assert found["abutment"].front.station == "quality"  # type: ignore[union-attr]
    assert not any(step.done_at for step in found["crown"].steps)
    assert [step.name for step in found["crown"].steps] == [
        step.name for step in look(timezone.now()).routes["layered_crown"]
    ]
    assert found["crown"].released_at is None
    assert_as_released(case)


def test_a_crown_joins_the_abutment_that_is_made_anew() -> None:
    case = changed(made_case(), [abutment(material="zirconia_3y", shade="A1"), crown()])
    found = {piece.kind: piece for piece in seen(case).pieces}
    assert not any(step.done_at for step in found["abutment"].steps)
    assert found["crown"].front.joins, "it is fitted again"  # type: ignore[union-attr]
    assert_as_released(case)


def test_removed_and_added_pieces_are_left_out_and_taken_in() -> None:
    case = changed(made_case(), [crown(), abutment("9"), crown("9")])
    assert [(piece.kind, piece.tooth) for piece in seen(case).pieces] == [
        ("crown", 11),
        ("abutment", 21),
        ("crown", 21),
    ]
    assert [piece.line for piece in seen(case).pieces] == [2, 3, 4], "each has its own name in the route of the case"
    assert_as_released(case)


def test_an_order_that_says_the_same_again_changes_nothing() -> None:
    case = made_case()
    before = [progress(piece) for piece in seen(case).pieces]
    changed(case, [abutment(), crown()])
    assert [progress(piece) for piece in seen(case).pieces] == before
    assert_as_released(case)


def test_a_changed_piece_without_a_route_says_so() -> None:
    case = made_case()
    Route.objects.filter(make="layered_crown").update(active=False)
    opened = seen(changed(case, [abutment(), crown(layered=True)]))
    assert (opened.pieces, opened.unstated) == ((), "there is no route in use for: Layered crown")


def test_the_engine_takes_a_changed_case() -> None:
    case = changed(made_case(), [abutment(material="zirconia_3y", shade="A1"), crown(layered=True)])
    stated = state(look(timezone.now()))
    assert stated.left_out == {}
    assert [(job.id, len(job.done)) for job in stated.shop.jobs] == [(case.number, 0)]


def test_reading_changed_cases_takes_the_same_number_of_queries_for_one_and_for_three() -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert look(timezone.now()).cases
        return len(captured)

    changed(released_case(), [abutment(), crown(layered=True)])
    first = queries()
    for number in range(2):
        changed(released_case(patient_ref=f"K-205{number}"), [abutment(), crown(layered=True)])
    assert queries() == first
