"""The same patient and tooth in another open case."""

from typing import Any

import pytest

from labqueue.base.models import User
from orders.cancel import cancel
from orders.models import Case
from orders.treatment.duplicates import duplicates_of
from tests import cast
from tests.orders import build
from tests.orders.build import abutment, crown, draft_case

pytestmark = pytest.mark.django_db


def signed_case(*who: User, **facts: Any) -> Case:
    """A signed case of the one patient of these tests."""
    return build.signed_case(*who, **{"patient_ref": "K-2041", **facts})


def numbers(*teeth: int, ref: str = "K-2041", case: Case | None = None, origin: str = "") -> list[str]:
    """The numbers of the duplicates at the practice of the cast."""
    found = duplicates_of(cast.practice(), ref, teeth, case=case, origin=origin)
    return [one.number for one in found]


def test_an_open_case_of_the_same_patient_and_tooth_is_a_duplicate_once() -> None:
    there = signed_case()
    assert there.current is not None
    assert there.current.items.count() == 2
    assert numbers(11) == [there.number]
    assert numbers(21, 11) == [there.number]


def test_another_tooth_patient_or_practice_is_none() -> None:
    signed_case()
    signed_case(cast.prescriber("eastside"), patient_ref="K-2042")
    assert numbers(21) == []
    assert numbers(11, ref="K-2042") == []


def test_drafts_and_what_has_ended_are_none() -> None:
    draft_case()
    cancel(cast.prescriber(), signed_case(), "No longer wanted")
    shipped = signed_case()
    Case.objects.filter(pk=shipped.pk).update(state=Case.State.SHIPPED)
    assert numbers(11) == []


def test_the_case_itself_what_it_follows_and_what_follows_it_are_none() -> None:
    first = signed_case()
    second = signed_case(items=[abutment("9"), crown("9")])
    Case.objects.filter(pk=second.pk).update(origin=first, relation="final")
    assert numbers(11, 21) == [first.number, second.number]
    assert numbers(11, 21, case=first) == []
    assert numbers(11, 21, case=second, origin=first.number) == []
    assert numbers(11, 21, origin=first.number) == [second.number]
