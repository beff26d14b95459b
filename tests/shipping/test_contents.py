"""What lies in a box: pieces in the order of the prescription, with the lots that are really in them."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from labqueue.production.models import LotUse, WorkStep
from shipping.contents import contents, parts
from tests.orders.build import abutment, crown, screw_crown
from tests.production.build import finished_case, piece
from tests.shipping.build import boxed_case

pytestmark = pytest.mark.django_db


def test_pieces_come_as_signed_with_their_lots() -> None:
    first, second = contents(boxed_case())
    assert [(c.made.kind, c.item.kind, c.item.tooth) for c in (first, second)] == [
        ("abutment", "abutment", 11),
        ("crown", "crown", 11),
    ]
    assert [lot.what for lot in first.lots] == ["titanium", "screw"]
    assert [lot.what for lot in first.own_lots] == ["titanium"]
    assert [lot.what for lot in second.lots] == ["zirconia_4y"]


def test_parts_are_counted_by_lot() -> None:
    inside = contents(boxed_case(items=[screw_crown("8"), screw_crown("9"), abutment("10"), crown("10")]))
    assert {lot.what: count for lot, count in parts(inside).items()} == {"titanium_base": 2, "screw": 3}


def test_the_lot_of_a_piece_that_was_thrown_away_is_not_in_it() -> None:
    case = finished_case()
    step = piece(case, "crown").steps.get(plan__takes="material")
    assert [lot.what for content in contents(case) for lot in content.lots] == ["titanium", "zirconia_4y"]
    WorkStep.objects.filter(pk=step.pk).update(attempt=2)
    assert LotUse.objects.filter(step=step, attempt=1).count() == 1
    assert [lot.what for content in contents(case) for lot in content.lots] == ["titanium"]


def test_the_number_of_queries_does_not_grow_with_the_box() -> None:
    small = boxed_case(items=[abutment("8")])
    large = boxed_case(items=[abutment("9"), crown("9"), abutment("10"), crown("10")])
    with CaptureQueriesContext(connection) as few:
        contents(small)
    with CaptureQueriesContext(connection) as many:
        contents(large)
    assert len(few) == len(many) == 3
