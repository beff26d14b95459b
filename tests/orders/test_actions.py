"""What a page offers is what the access table and the verbs allow."""

from collections.abc import Callable

import pytest

from labqueue.access import may_open
from labqueue.base.models import User
from orders import intake, signoff
from orders.acceptance import accept
from orders.actions import actions_for
from orders.cancel import cancel
from orders.hold import hold, resume
from orders.lifecycle import advance
from orders.models import Case
from tests import cast
from tests.orders import build

pytestmark = pytest.mark.django_db

VERBS: dict[str, Callable[[User, Case], object]] = {
    "edit": lambda actor, case: intake.edit_draft(actor, case, **build.order(patient_ref=case.patient_ref)),
    "sign": signoff.sign,
    "amend": signoff.amend,
    "discard": signoff.discard,
    "cancel": lambda actor, case: cancel(actor, case, "No longer wanted"),
    "accept": accept,
    "hold": lambda actor, case: hold(actor, case, "Which shade?"),
    "resume": resume,
}
PEOPLE = [cast.assistant, cast.prescriber, cast.technician, cast.manager, cast.shipper, cast.administrator]


def released() -> Case:
    """A case on the floor."""
    case = build.accepted_case()
    advance(case, "released", verb="released", actor=None)
    return case


def changing(make: Callable[[], Case]) -> Case:
    """A case with a change in preparation."""
    case = make()
    signoff.amend(cast.prescriber(), case)
    return case


CASES: dict[str, Callable[[], Case]] = {
    "draft": build.draft_case,
    "signed": build.signed_case,
    "accepted": build.accepted_case,
    "released": released,
    "on hold": lambda: hold(cast.manager(), build.signed_case(), "Which shade?"),
    "changing, signed": lambda: changing(build.signed_case),
    "changing, released": lambda: changing(released),
    "cancelled": lambda: cancel(cast.prescriber(), build.signed_case(), "No longer wanted"),
}
PRACTICE = {
    "draft": {"edit", "sign", "cancel"},
    "signed": {"amend", "cancel"},
    "accepted": {"amend", "cancel"},
    "released": {"amend"},
    "on hold": {"amend", "cancel"},
    "changing, signed": {"edit", "sign", "discard", "cancel"},
    "changing, released": {"edit", "sign", "discard"},
    "cancelled": set(),
}
MANAGER = {
    "draft": set(),
    "signed": {"accept", "hold", "cancel"},
    "accepted": {"hold", "cancel"},
    "released": {"hold"},
    "on hold": {"resume", "cancel"},
    "changing, signed": {"accept", "hold", "cancel"},
    "changing, released": {"hold"},
    "cancelled": set(),
}


@pytest.mark.parametrize("what", CASES)
def test_what_a_prescriber_can_do(what: str) -> None:
    assert actions_for(cast.prescriber(), CASES[what]()) == PRACTICE[what]


@pytest.mark.parametrize("what", CASES)
def test_an_assistant_can_do_all_but_sign(what: str) -> None:
    assert actions_for(cast.assistant(), CASES[what]()) == PRACTICE[what] - {"sign"}


@pytest.mark.parametrize("what", [what for what in CASES if what != "draft"])
def test_what_the_laboratory_can_do(what: str) -> None:
    case = CASES[what]()
    assert actions_for(cast.manager(), case) == MANAGER[what]
    assert actions_for(cast.technician(), case) == MANAGER[what] & {"hold", "resume"}
    assert actions_for(cast.shipper(), case) == actions_for(cast.administrator(), case) == frozenset()


@pytest.mark.parametrize("what", CASES)
@pytest.mark.parametrize("name", VERBS)
def test_whatever_is_offered_is_allowed_and_works(what: str, name: str) -> None:
    for person in PEOPLE:
        case, actor = CASES[what](), person()
        if name in actions_for(actor, case):
            assert may_open(actor, f"orders:{name}", "POST")
            assert may_open(actor, "api:prescription" if name == "edit" else f"api:{name}", "POST")
            VERBS[name](actor, case)
