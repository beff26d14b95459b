"""A design is shown to the practice: what can be shown, what was measured in it, and what is refused."""

from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Conflict
from orders.models import Attachment, Case, Message
from orders.talk.ask_approval import ask_approval
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused
from tests.orders.talk.build import design

pytestmark = pytest.mark.django_db

PIECE = "8 (Universal, FDI 11), Abutment, titanium alloy"
GOOD = {"wall": "0.45", "angle": "25", "collar": "0.5", "post": "4"}


def show(case: Case, file: Attachment | None = None, line: int | None = 1, **figures: str) -> Message:
    """The technician shows a design; line 1 is the titanium abutment."""
    numbers = {name: Decimal(value) for name, value in figures.items()}
    return ask_approval(cast.technician(), case, "Look at the collar.", file or design(case), line, numbers)


def test_the_case_stands_still_and_the_design_is_on_it() -> None:
    case = build.accepted_case()
    file = design(case)
    shown = show(case, file, 1, **GOOD)
    assert (shown.kind, shown.stops, shown.attachment, shown.by) == ("approval", True, file, cast.technician())
    assert shown.figures == {"line": 1, "piece": PIECE, **GOOD}
    assert (case.on_hold, case.hold_reason) == (True, "Look at the collar.")
    event = audit.trail(case)[-1]
    assert (event.verb, event.after) == ("asked for approval", {"message": shown.pk, "sha256": file.sha256})


def test_a_picture_alone_is_enough() -> None:
    assert show(build.accepted_case(), line=None).figures == {}


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("wall", "0.44", "V07: The wall has 0.44 mm; 0.45 mm is the least here."),
        ("angle", "25.1", "V07: The angle has 25.1°; 25° is the most here."),
        ("collar", "0.49", "V07: The collar has 0.49 mm; 0.5 mm is the least here."),
        ("collar", "6.01", "6.0 mm is the most here."),
        ("post", "3.99", "4.0 mm is the least here."),
        ("wall", "NaN", "Give the wall from 0 to 100"),
        ("wall", "Infinity", "Give the wall from 0 to 100"),
        ("angle", "-1", "Give the angle from 0 to 100"),
        ("weight", "1", "“weight” is not measured"),
    ],
)
def test_a_design_beyond_its_limits_is_not_shown(name: str, value: str, words: str) -> None:
    case = build.accepted_case()
    file = design(case)
    with refused(f"figures.{name}", words):
        show(case, file, 1, **{name: value})


def test_the_wall_is_that_of_the_material_of_the_piece() -> None:
    case = build.accepted_case()
    file = design(case)
    with refused("figures.wall", "0.8 mm is the least here"):
        show(case, file, line=2, wall="0.79")
    assert show(case, file, line=2, wall="0.8").figures["line"] == 2


@pytest.mark.parametrize("line", [None, 9])
def test_figures_belong_to_a_piece(line: int | None) -> None:
    case = build.accepted_case()
    file = design(case)
    with refused("line", "Choose the piece that was measured."):
        show(case, file, line=line, wall="1.0")


@pytest.mark.parametrize(
    "facts", [{"role": "sticker"}, {"state": "checking"}, {"state": "refused", "reason": "It is no mesh."}]
)
def test_only_a_checked_design_is_shown(facts: dict[str, Any]) -> None:
    case = build.accepted_case()
    file = design(case, **facts)
    with refused("attachment", "Choose a design of"):
        show(case, file)


def test_a_withdrawn_design_is_not_shown_nor_one_of_another_case() -> None:
    case, other = build.accepted_case(), build.accepted_case(patient_ref="K-7")
    gone, foreign = design(case, withdrawn_at=timezone.now()), design(other)
    for file in (gone, foreign):
        with refused("attachment", "Choose a design of"):
            show(case, file)


def test_one_design_at_a_time() -> None:
    case = build.accepted_case()
    file = design(case)
    show(case, file)
    with refused("", "waits for its approval already", kind=Conflict):
        show(case, file)


@pytest.mark.parametrize("state", ["packed", "shipped", "cancelled"])
def test_nothing_is_approved_of_what_is_made(state: str) -> None:
    case = build.accepted_case()
    file = design(case)
    Case.objects.filter(pk=case.pk).update(state=state)
    with refused("", "there is no design to be approved", kind=Conflict):
        show(case, file)
