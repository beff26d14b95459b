"""Packing a case: works when every piece is in the box; each refusal leaves nothing written."""

import pytest

from labqueue.base.audit import trail
from labqueue.base.errors import Conflict, Forbidden
from labqueue.base.models import OutboxRow
from orders.hold import hold
from orders.models import Case
from shipping.models import Delivery, Paper
from shipping.packing import pack
from tests import cast
from tests.production.build import finished_case, released_case
from tests.shipping.build import boxed_case, packed

pytestmark = pytest.mark.django_db


def nothing_packed(case: Case, state: str) -> bool:
    """Whether a refused packing has left everything as it was."""
    fresh = Case.objects.get(pk=case.pk)
    return fresh.state == state and not Delivery.objects.exists() and not Paper.objects.exists()


def test_a_full_box_is_packed_with_its_slip() -> None:
    case = boxed_case()
    delivery = pack(cast.shipper(), case)
    assert (case.state, delivery.state) == ("packed", "packed")
    assert Case.objects.get(pk=case.pk).state == "packed"
    assert delivery.packed_by == cast.shipper()
    paper = Paper.objects.get()
    assert (paper.kind, paper.delivery, paper.made_at) == ("slip", delivery, None)
    assert OutboxRow.objects.get(kind="paper").payload == {"paper": paper.pk}
    assert trail(case)[-1].verb == "packed"
    assert trail(case)[-1].actor == cast.shipper()


def test_the_manager_may_pack_too() -> None:
    assert pack(cast.manager(), boxed_case()).packed_by == cast.manager()


def test_a_case_with_a_piece_outside_is_refused_and_the_piece_named() -> None:
    case = finished_case()
    with pytest.raises(Conflict, match="Not in the box yet") as refused:
        pack(cast.shipper(), case)
    assert all(item.code in str(refused.value) for item in case.work_items.all())
    assert nothing_packed(case, "finished")


def test_a_case_on_the_floor_is_refused() -> None:
    case = released_case()
    with pytest.raises(Conflict, match="cannot become packed"):
        pack(cast.shipper(), case)
    assert nothing_packed(case, "released")


def test_a_case_on_hold_is_refused() -> None:
    case = boxed_case()
    hold(cast.manager(), case, "Which shade?")
    with pytest.raises(Conflict, match="Which shade"):
        pack(cast.shipper(), case)
    assert nothing_packed(case, "finished")


def test_packing_twice_is_refused() -> None:
    delivery = packed()
    with pytest.raises(Conflict, match="is packed"):
        pack(cast.shipper(), delivery.case)
    assert Delivery.objects.count() == Paper.objects.count() == 1


def test_nobody_of_a_practice_packs() -> None:
    case = boxed_case()
    with pytest.raises(Forbidden):
        pack(cast.prescriber(), case)
    assert nothing_packed(case, "finished")
