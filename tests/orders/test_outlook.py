"""The last word of planning on a case."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from orders.models import Case, Outlook
from orders.outlook import record
from tests.orders import build

pytestmark = pytest.mark.django_db


def row(case: Case, late: float | None) -> Outlook:
    """An outlook made now."""
    now = timezone.now()
    return Outlook(case=case, late=late, p50=now + timedelta(days=1), reason="waits for design", made_at=now)


def test_an_outlook_is_written_beside_the_case() -> None:
    case = build.signed_case()
    record([row(case, 0.25)])
    case.refresh_from_db()
    assert (case.outlook.late, case.outlook.reason) == (0.25, "waits for design")


def test_the_next_one_takes_its_place() -> None:
    one, two = build.signed_case(), build.signed_case()
    record([row(one, 0.25)])
    record([row(one, None), row(two, 0.5)])
    assert [(o.case_id, o.late) for o in Outlook.objects.order_by("case_id")] == [(one.pk, None), (two.pk, 0.5)]


def test_any_number_of_cases_is_one_statement() -> None:
    cases = [build.signed_case() for _ in range(3)]
    with CaptureQueriesContext(connection) as queries:
        record([row(case, 0.1) for case in cases])
    assert len([q for q in queries.captured_queries if "INSERT" in q["sql"]]) == 1


def test_nothing_to_say_writes_nothing() -> None:
    record([])
    assert not Outlook.objects.exists()


@pytest.mark.parametrize("late", [-0.01, 1.01])
def test_a_risk_is_a_probability(late: float) -> None:
    case = build.signed_case()
    with pytest.raises(IntegrityError, match="late_is_a_probability"), transaction.atomic():
        record([row(case, late)])
    assert not Outlook.objects.exists()
