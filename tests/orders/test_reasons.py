"""The reasons for what is unusual: which finding each answers, who gave it, and that they are signed with the order."""

from typing import Any

import pytest
from django.db import IntegrityError, transaction

from orders import reasons
from orders.facts import ReasonFacts
from orders.findings import Finding, Severity
from orders.models import Case, Item, Prescription, Reason
from orders.signoff import amend, discard, sign
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused

pytestmark = pytest.mark.django_db

PIECES = [Item(line=1, tooth=11, kind="abutment"), Item(line=2, tooth=11, kind="crown"), Item(line=3, tooth=26)]


def found(rule: str, line: int = 0) -> Finding:
    """A warning."""
    return Finding(rule, Severity.WARN, "", "Weigh this.", line)


def test_a_reason_answers_its_rule_on_its_tooth() -> None:
    given = [ReasonFacts("V12", "  As   discussed. ", "8", "universal"), ReasonFacts("V20", "Photo.")]
    findings = [found("V12", 1), found("V12", 2), found("V12", 3), found("V20"), found("V10", 1)]
    answers = reasons.answered(given, findings, PIECES)
    assert answers == {("V12", 1): "As discussed.", ("V12", 2): "As discussed.", ("V20", 0): "Photo."}


def test_a_form_sends_the_reasons_that_say_something() -> None:
    form = {"reason-V12-36": "\u200b", "reason-V17-0": "As discussed.", "reason-V20-0": " "}
    assert reasons.sent(form) == [ReasonFacts("V17", "As discussed.")]


def test_a_reason_for_nothing_is_not_kept() -> None:
    assert reasons.answered([ReasonFacts("V12", "As discussed.", "30", "universal")], [found("V12", 1)], PIECES) == {}


def draft_of(case: Case) -> Prescription:
    """The draft, read again."""
    return Prescription.objects.get(case=case, signed_at__isnull=True)


def written(case: Case) -> list[tuple[str, int, str, str]]:
    """All reasons of the case."""
    rows = Reason.objects.filter(prescription__case=case)
    return [(one.rule, one.line, one.text, one.by.username) for one in rows.select_related("by")]


def test_who_says_the_same_again_changes_nothing() -> None:
    case = build.draft_case()
    assistant, prescriber = cast.assistant(), cast.prescriber()
    reasons.keep(assistant, draft_of(case), {("V12", 1): "As discussed.", ("V20", 0): "Photo.", ("V10", 2): "So."})
    reasons.keep(prescriber, draft_of(case), {("V12", 1): "As discussed.", ("V20", 0): "Another photo."})
    assert written(case) == [
        ("V20", 0, "Another photo.", prescriber.username),
        ("V12", 1, "As discussed.", assistant.username),
    ]


def signed() -> Case:
    """A signed case with a reason."""
    items = [build.crown("3", material="lithium_disilicate")]
    case = build.draft_case(items=items)
    reasons.keep(cast.assistant(), draft_of(case), {("V04", 1): "As discussed.", ("V12", 1): "As discussed."})
    sign(cast.prescriber(), case)
    return case


def test_reasons_are_frozen_with_the_signature() -> None:
    case = signed()
    reason = Reason.objects.get(rule="V12")
    assert reason.frozen
    assert case.current is not None
    late: dict[str, Any] = {"rule": "V20", "line": 0, "text": "Late.", "by": cast.assistant(), "at": reason.at}
    for write in (
        lambda: Reason.objects.update(text="Forged."),
        Reason.objects.all().delete,
        Reason(prescription=case.current, **late).save,
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            write()
    assert [(one.rule, one.text) for one in Reason.objects.all()] == [
        ("V04", "As discussed."),
        ("V12", "As discussed."),
    ]


def test_a_change_begins_with_the_reasons_and_their_names() -> None:
    case = signed()
    amend(cast.prescriber(), case)
    name = cast.assistant().username
    assert written(case) == [("V04", 1, "As discussed.", name), ("V12", 1, "As discussed.", name)] * 2
    discard(cast.prescriber(), case)
    assert len(written(case)) == 2


@pytest.mark.parametrize(
    ("reason", "field", "words"),
    [
        (ReasonFacts("V12", " ? "), "reasons.0.text", "Give a short reason"),
        (ReasonFacts("V12", "\u200b" * 3), "reasons.0.text", "Give a short reason"),
        (ReasonFacts("V12", "x" * 201), "reasons.0.text", "Give a short reason"),
        (ReasonFacts("V12", "As discussed.", "19", "fdi"), "reasons.0.tooth", "is no permanent tooth"),
        (ReasonFacts("V12", "As discussed.", "8", ""), "reasons.0.tooth", "in which notation"),
    ],
)
def test_a_reason_that_says_nothing(reason: ReasonFacts, field: str, words: str) -> None:
    with refused(field, words):
        build.draft_case(reasons=[reason])
