"""Nothing that meets an implant comes to the floor before it is known, and read by a second person."""

import pytest

from labqueue.base.errors import Conflict
from labqueue.production.models import RouteStep, Station, WorkItem
from labqueue.production.release import release
from orders.intake import edit_draft
from orders.models import Case
from orders.signoff import amend, sign
from tests import cast
from tests.orders import build as orders
from tests.orders.refusals import refused
from tests.production.build import released_case, shop

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _floor() -> None:
    shop()


def test_nothing_is_released_before_the_second_look() -> None:
    case, manager = orders.accepted_case(), cast.manager()
    words = "V06: Nobody confirmed the implant of the abutment on 8 Universal, upper right central incisor."
    with refused("case", words, Conflict, also=(WorkItem,)):
        release(manager, case)
    assert len(release(manager, orders.confirm_all(case))) == 2


def test_every_piece_that_meets_an_implant_is_looked_at() -> None:
    case, manager = orders.accepted_case(items=[orders.screw_crown("8"), orders.screw_crown("9")]), cast.manager()
    with pytest.raises(Conflict) as caught:
        release(manager, case)
    assert [fault.code for fault in caught.value.faults] == ["V06", "V06"]


def test_a_crown_on_an_abutment_needs_none() -> None:
    assert release(cast.manager(), orders.accepted_case(items=[orders.crown()]))


def test_v05_an_implant_that_nobody_knows_is_never_released() -> None:
    case, manager = orders.confirmed_case(), cast.manager()
    amend(cast.prescriber(), case)
    items = [orders.abutment(connection=""), orders.crown()]
    edit_draft(cast.prescriber(), case, **orders.order(patient_ref=case.patient_ref, items=items))
    sign(cast.prescriber(), case)
    orders.let_go_on(case)
    Case.objects.filter(pk=case.pk).update(state="accepted")
    with refused("items.0.connection", "V05: Choose the connection of the implant.", Conflict, also=(WorkItem,)):
        release(manager, case)


def test_an_amendment_elsewhere_is_released_without_another_look() -> None:
    case = released_case()
    amend(cast.prescriber(), case)
    items = [orders.abutment(), orders.crown(shade="N3")]
    edit_draft(cast.prescriber(), case, **orders.order(patient_ref=case.patient_ref, items=items))
    sign(cast.prescriber(), case)
    assert len(release(cast.manager(), case)) == 2


def test_v02_a_wrong_route_is_refused_with_its_number() -> None:
    case, manager = orders.confirmed_case(items=[orders.abutment()]), cast.manager()
    step = RouteStep.objects.filter(route__make="metal_abutment", station__kind="mill").first()
    assert step is not None
    RouteStep.objects.filter(pk=step.pk).update(station=Station.objects.get(kind="sintering"))
    with refused("items.0.material", "V02: Titanium alloy must not go into a sintering furnace.", Conflict):
        release(manager, case)
