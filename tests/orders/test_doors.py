"""Who sees which case."""

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from labqueue.base.errors import Forbidden, NotFound
from labqueue.base.models import User
from orders.cancel import cancel
from orders.doors import case_for, cases_for, lock, member_of, own_case
from orders.models import Case
from tests import cast
from tests.orders import build

pytestmark = pytest.mark.django_db


def laboratory() -> list[User]:
    """Everybody who works in the laboratory."""
    return [cast.technician(), cast.manager(), cast.shipper(), cast.administrator()]


def test_a_practice_sees_its_own_and_nothing_else() -> None:
    own, other = build.draft_case(), build.signed_case(cast.prescriber("southgate"))
    assert list(cases_for(cast.assistant())) == [own]
    assert list(cases_for(cast.prescriber("southgate"))) == [other]
    assert case_for(cast.prescriber(), own.number) == own


def test_the_laboratory_sees_what_was_signed() -> None:
    build.draft_case()
    signed = build.signed_case()
    dropped = build.draft_case()
    cancel(cast.assistant(), dropped)
    for person in laboratory():
        assert list(cases_for(person)) == [signed]


def test_a_signed_case_stays_in_sight_when_it_is_cancelled() -> None:
    case = cancel(cast.prescriber(), build.signed_case(), "No longer wanted")
    assert case_for(cast.manager(), case.number).state == "cancelled"


@pytest.mark.parametrize("number", ["9999999", "", "0", "x" * 500])
def test_an_unknown_case_is_not_found(number: str) -> None:
    with pytest.raises(NotFound, match="There is no case"):
        case_for(cast.manager(), number)


def test_a_foreign_case_looks_like_an_unknown_one() -> None:
    case = build.signed_case()
    with pytest.raises(NotFound) as foreign:
        case_for(cast.prescriber("southgate"), case.number)
    with pytest.raises(NotFound) as unknown:
        case_for(cast.prescriber("southgate"), "9999999")
    assert str(foreign.value).replace(case.number, "9999999") == str(unknown.value)


def test_a_draft_does_not_exist_for_the_laboratory() -> None:
    case = build.draft_case()
    with pytest.raises(NotFound):
        case_for(cast.manager(), case.number)


def test_membership() -> None:
    assert member_of(cast.prescriber()).may_sign
    assert not member_of(cast.assistant()).may_sign
    with pytest.raises(Forbidden):
        member_of(cast.manager())


def test_own_case() -> None:
    case = build.draft_case()
    assert own_case(cast.prescriber(), case).practice == case.practice
    with pytest.raises(Forbidden):
        own_case(cast.prescriber("southgate"), case)


def test_the_lock_brings_the_case_up_to_date() -> None:
    case = build.signed_case()
    old = Case.objects.get(pk=case.pk)
    Case.objects.filter(pk=case.pk).update(hold_reason="?")
    with (
        transaction.atomic(),
        CaptureQueriesContext(
            connection,
        ) as queries,
    ):
        assert lock(old) is old
    assert old.hold_reason == "?"
    statement = queries.captured_queries[-1]["sql"]
    assert ("FOR NO KEY UPDATE" in statement) == connection.features.has_select_for_no_key_update
