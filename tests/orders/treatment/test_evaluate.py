"""The look at a provisional after its trial: what is kept, what is refused, and when it is asked for."""

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import DatabaseError, transaction
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Conflict, Forbidden
from orders.intake import open_case
from orders.models import Case, Evaluation
from orders.treatment.evaluate import EvaluationFacts, evaluate, to_evaluate
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused
from tests.orders.treatment.test_relation import provisional

pytestmark = pytest.mark.django_db
GOOD: dict[str, Any] = {"decision": "final", "happy": True}
DAY = timedelta(days=1)


def say(case: Case, **said: Any) -> Evaluation:
    """The assistant writes down what was found."""
    return evaluate(cast.assistant(), case, EvaluationFacts(**{**GOOD, **said}))


def seated(days_ago: int, case: Case | None = None) -> Case:
    """A provisional that was seated that many days ago, shipped the day before."""
    case = case or provisional()
    at = timezone.now() - days_ago * DAY
    Case.objects.filter(pk=case.pk).update(seat_at=at, shipped_at=at - DAY)
    case.refresh_from_db()
    return case


def asked(now: datetime | None = None) -> list[Case]:
    """Whose evaluation is due."""
    return list(to_evaluate(now or timezone.now()))


def test_what_was_found_is_kept_under_a_name() -> None:
    case = provisional()
    found = say(case, facial="too_low", facial_mm=Decimal("0.35"), judged={"bite": "change"}, changes=" A  bit ")
    assert (found.case, found.by, found.facial_mm, found.changes) == (case, cast.assistant(), 35, "A bit")
    assert (found.bite, found.shade, found.happy) == ("change", "ok", True)
    assert audit.trail(case)[-1].verb == "evaluated"


def test_a_second_look_is_another_evaluation_and_none_is_ever_changed() -> None:
    case = provisional()
    first = say(case, decision="wait")
    say(case)
    assert [one.decision for one in case.evaluations.all()] == ["wait", "final"]
    with pytest.raises(DatabaseError), transaction.atomic():
        Evaluation.objects.filter(pk=first.pk).update(decision="final")


@pytest.mark.parametrize(
    ("said", "field", "words"),
    [
        ({"decision": "later"}, "decision", "Choose one of final, reshape, wait."),
        ({"facial": "high"}, "facial", "Choose one of ok, too_high, too_low."),
        ({"judged": {"shade": "bad"}}, "shade", "Choose one of ok, change."),
        ({"judged": {"smell": "ok"}}, "judged", "“smell” is not judged"),
        ({"happy": None}, "happy", "whether the patient is happy"),
        ({"facial_mm": Decimal(1)}, "facial_mm", "leave the millimetres out"),
        ({"facial": "too_low", "facial_mm": Decimal(0)}, "facial_mm", "up to 10 mm"),
        ({"facial": "too_low", "facial_mm": Decimal("10.01")}, "facial_mm", "up to 10 mm"),
        ({"facial": "too_low", "facial_mm": Decimal("NaN")}, "facial_mm", "up to 10 mm"),
        ({"facial": "too_low", "facial_mm": Decimal("0.333")}, "facial_mm", "in steps of 0.01"),
        ({"judged": {"length": "change"}}, "changes", "Say what is to be changed"),
        ({"facial": "too_low"}, "facial_mm", "Give how far the margin is off"),
        ({"happy": False}, "words", "Say what the patient is not happy with"),
        ({"changes": "x" * 301}, "changes", "at most 300"),
        ({"words": "x" * 301}, "words", "at most 300"),
    ],
)
def test_what_cannot_be_meant_is_refused(said: dict[str, Any], field: str, words: str) -> None:
    case = provisional()
    with refused(field, words, also=(Evaluation,)):
        say(case, **said)


def test_only_a_provisional_that_has_left_is_evaluated_and_only_by_its_practice() -> None:
    final, early = build.shipped_case(), build.accepted_case(patient_ref="K-9")
    cast.assistant("southgate")
    for case in (final, early):
        with refused("", "no provisional that has left", kind=Conflict, also=(Evaluation,)):
            say(case)
    case = provisional()
    with refused("", "another practice", kind=Forbidden, also=(Evaluation,)):
        evaluate(cast.assistant("southgate"), case, EvaluationFacts(**GOOD))
    with refused("", "Only people of a practice", kind=Forbidden, also=(Evaluation,)):
        evaluate(cast.manager(), case, EvaluationFacts(**GOOD))


def test_it_is_asked_for_three_weeks_after_the_seating_and_not_a_day_before() -> None:
    case = seated(20)
    assert asked() == []
    (found,) = asked(timezone.now() + DAY)
    assert found == case
    assert found.asked_since == case.seat_at + 21 * DAY  # type: ignore[attr-defined, operator]


def test_without_an_appointment_the_shipping_counts_and_a_late_box_as_well() -> None:
    case = seated(30)
    Case.objects.filter(pk=case.pk).update(seat_at=None, shipped_at=timezone.now() - 20 * DAY)
    assert asked() == []
    Case.objects.filter(pk=case.pk).update(seat_at=timezone.now() - 40 * DAY)
    assert asked() == [], "it came after its appointment"
    assert asked(timezone.now() + DAY) == [case]


@pytest.mark.parametrize("decision", ["wait", "reshape"])
def test_who_waits_or_reshapes_is_asked_again_three_weeks_later(decision: str) -> None:
    case = seated(25)
    say(case, decision=decision)
    assert asked() == []
    assert asked(timezone.now() + 20 * DAY) == []
    assert asked(timezone.now() + 21 * DAY) == [case]


def test_nobody_is_asked_any_more_once_the_final_is_decided_on_or_ordered() -> None:
    decided, ordered = seated(25), seated(25, provisional(patient_ref="K-2"))
    say(decided)
    facts = {"patient_ref": "K-2", "origin": ordered.number, "relation": "final", "items": [build.screw_crown()]}
    final = open_case(cast.prescriber(), **build.order(**facts))
    assert asked() == []
    Case.objects.filter(pk=final.pk).update(state=Case.State.CANCELLED)
    assert asked() == [ordered]
