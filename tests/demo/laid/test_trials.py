"""The evaluations of the demonstration: kept where a trial is well over, asked for where it is just over."""

import pytest
from django.utils import timezone

from orders.models import Evaluation
from orders.treatment.evaluate import TRIAL, to_evaluate

pytestmark = [pytest.mark.django_db, pytest.mark.once]


def test_most_trials_that_are_over_were_looked_at_and_some_are_asked_for() -> None:
    found = Evaluation.objects.select_related("case", "by__member")
    asked = to_evaluate(timezone.now())
    assert found.count() > 100
    assert 0 < asked.count() < found.count()


def test_each_was_found_by_the_practice_after_the_trial() -> None:
    for one in Evaluation.objects.select_related("case", "by__member"):
        case = one.case
        assert case.stage == "provisional"
        assert case.shipped_at is not None
        assert max(case.seat_at or case.shipped_at, case.shipped_at) + TRIAL <= one.at <= timezone.now()
        assert one.by.member.practice_id == case.practice_id
        assert bool(one.changes) == bool(one.wanted)
