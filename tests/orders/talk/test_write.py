"""A note is kept under a name, and stops nothing."""

import pytest

from labqueue.base import audit
from labqueue.base.errors import Forbidden
from orders.models import Case
from orders.talk.write import write
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("who", ["assistant", "technician", "manager"])
def test_both_sides_write(who: str) -> None:
    case, actor = build.signed_case(), getattr(cast, who)()
    note = write(actor, case, "  The   courier\ncomes\r\n at  noon. ")
    assert (note.kind, note.text, note.by, note.stops) == ("note", "The courier\ncomes\nat noon.", actor, False)
    assert (audit.trail(case)[-1].verb, audit.trail(case)[-1].after) == ("wrote", {"message": note.pk})
    assert not case.on_hold


def test_a_case_that_has_left_can_still_be_talked_about() -> None:
    case = build.shipped_case()
    write(cast.assistant(), case, "It fits.")
    assert case.messages.get().text == "It fits."
    assert case.state == Case.State.SHIPPED


@pytest.mark.parametrize("text", ["", " \n ", "\u200b", "\ufeff\n\u200b ", "x" * 1001])
def test_something_must_be_said(text: str) -> None:
    case = build.signed_case()
    with refused("text", "Write in 1 to 1000 characters"):
        write(cast.assistant(), case, text)


def test_another_practice_does_not_take_part() -> None:
    case, stranger = build.signed_case(), cast.assistant("southgate")
    with refused("", "belongs to another practice", kind=Forbidden):
        write(stranger, case, "Hello.")
