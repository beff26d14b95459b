"""What the practice wants to see first is not milled before it has approved it."""

import pytest

from labqueue.base.errors import Conflict
from labqueue.production.models import Scan, ScanKey, WorkStep
from orders.models import Case
from orders.talk.approve import approve, want_changes
from orders.talk.ask_approval import ask_approval
from tests import cast
from tests.orders.refusals import refused
from tests.orders.talk.build import approver, design
from tests.production.build import piece, released_case, scan_through, send

pytestmark = pytest.mark.django_db

WRITTEN = (Scan, ScanKey, WorkStep)


def at_the_mill(approval: str) -> Case:
    """A case whose abutment goes next to the mill."""
    case = released_case(approval=approval)
    scan_through(piece(case, "abutment"), until=mill(case))
    return case


def mill(case: Case) -> str:
    """The code of the mill on the way of the abutment."""
    step = piece(case, "abutment").steps.filter(station__kind="mill").select_related("station").first()
    assert step is not None
    return step.station.code


def start(case: Case) -> str:
    """Start milling; which action was counted."""
    return send(piece(case, "abutment"), mill(case)).scan.action


def test_the_mill_waits_for_the_approval() -> None:
    case = at_the_mill("yes")
    with refused("code", "is milled once the practice has approved its design", kind=Conflict, also=WRITTEN):
        start(case)
    shown = ask_approval(cast.technician(), case, "Please look.", design(case))
    with refused("code", "is on hold (“Please look.”)", kind=Conflict, also=WRITTEN):
        start(case)
    approve(approver(), case, shown)
    assert start(case) == "start"


def test_a_design_that_is_to_be_changed_is_not_milled() -> None:
    case = at_the_mill("yes")
    shown = ask_approval(cast.technician(), case, "Please look.", design(case))
    want_changes(approver(), case, shown, "Lower.")
    with refused("code", "Show the design on the page of the case", kind=Conflict, also=WRITTEN):
        start(case)


def test_what_nobody_wants_to_see_is_milled_at_once() -> None:
    assert start(at_the_mill("no")) == "start"
