"""Rules of the whole order: V14, V16, V18 and the house's own, at, just within and just beyond each limit."""

from datetime import date, timedelta
from typing import Any

import pytest
import time_machine
from django.utils import timezone

from orders.choices import Relation
from orders.models import Case
from tests import cast
from tests.orders import build
from tests.orders.rules.looks import findings, in_piece, of, passes, refuses, sentence

pytestmark = pytest.mark.django_db

NOW = "2031-03-05T15:00:00Z"
WARN, HOLD, REFUSE = "warn", "hold", "refuse"
MINUTE = timedelta(minutes=1)


def provisional(seated: timedelta) -> Case:
    """A provisional that was seated that long ago."""
    case = build.shipped_case(stage="provisional", items=[build.screw_crown(material="pmma")])
    at = timezone.now() - seated
    Case.objects.filter(pk=case.pk).update(seat_at=at, shipped_at=at - timedelta(days=1))
    case.refresh_from_db()
    return case


def after(origin: Case, relation: str = Relation.FINAL, **facts: Any) -> dict[str, Any]:
    """An order that follows it."""
    said = {"origin": origin.number, "relation": relation, "patient_ref": origin.patient_ref}
    return {**said, "items": [build.screw_crown()], **facts}


@pytest.mark.parametrize(
    ("seated", "found"),
    [
        (timedelta(days=21) - MINUTE, 1),
        (timedelta(days=21), 0),
        (timedelta(days=365), 0),
        (timedelta(days=365) + MINUTE, 1),
    ],
)
def test_v14_a_final_too_early_or_too_late(seated: timedelta, found: int) -> None:
    with time_machine.travel(NOW, tick=False):
        assert of("V14", **after(provisional(seated))) == [(WARN, "origin")] * found


def test_v14_before_the_provisional_is_even_seated() -> None:
    with time_machine.travel(NOW, tick=False):
        assert of("V14", **after(provisional(timedelta(days=-7)))) == [(WARN, "origin")]


def test_v14_a_worn_out_provisional_that_is_made_again() -> None:
    again: dict[str, Any] = {"relation": Relation.REMAKE, "cause": "fracture", "stage": "provisional"}
    again["items"] = [build.screw_crown(material="pmma")]
    with time_machine.travel(NOW, tick=False):
        assert of("V14", **after(provisional(timedelta(days=366)), **again)) == [(WARN, "origin")]
        assert of("V14", **after(provisional(timedelta(days=3)), **again)) == []


def test_v14_says_when_it_was_seated() -> None:
    with time_machine.travel(NOW, tick=False):
        origin = provisional(timedelta(days=3))
        words = sentence("V14", **after(origin))
    assert words == (
        f"V14: The provisional of {origin} is seated on Sun 2 Mar. Tissue needs three weeks before its final is taken."
    )


def test_v14_a_first_make_and_a_remake_of_a_final() -> None:
    final = build.shipped_case(items=[build.screw_crown()])
    assert of("V14") == of("V14", **after(final, Relation.REMAKE, cause="fit")) == []


def test_v16_the_same_patient_and_tooth_again() -> None:
    first = build.signed_case(patient_ref="K-7", items=[build.crown()])
    facts: dict[str, Any] = {"patient_ref": " k-7", "items": [build.screw_crown("8")]}
    assert of("V16", **facts) == [(HOLD, "patient_ref")]
    assert sentence("V16", **facts) == (
        f"V16: The same patient and tooth are open in case {first.number}. Cancel one, or answer that both are meant."
    )


@pytest.mark.parametrize(
    "facts", [{"patient_ref": "K-8"}, {"items": [build.crown("9")]}, {"items": [build.crown("")]}, {"patient_ref": ""}]
)
def test_v16_another_patient_or_tooth(facts: dict[str, Any]) -> None:
    build.signed_case(patient_ref="K-7", items=[build.crown()])
    assert of("V16", **{"patient_ref": "K-7", "items": [build.crown()], **facts}) == []


def test_v16_itself_is_no_duplicate() -> None:
    case = build.signed_case()
    assert [one.rule for one in findings(case, patient_ref=case.patient_ref) if one.rule == "V16"] == []


def scanned(days: int, **facts: Any) -> dict[str, Any]:
    """An order on a scan of that age in days, at the practice on 5 March."""
    on = date(2031, 3, 5) - timedelta(days=days)
    return {"impression": "scan", "scanned_on": on, "analog": "", "items": [build.crown()], **facts}


@pytest.mark.parametrize(
    ("days", "found"),
    [(0, []), (30, []), (31, [WARN]), (90, [WARN]), (91, [HOLD]), (-1, [REFUSE])],
)
def test_v18_the_age_of_a_scan(days: int, found: list[str]) -> None:
    with time_machine.travel(NOW, tick=False):
        assert of("V18", **scanned(days)) == [(severity, "scanned_on") for severity in found]


@pytest.mark.parametrize("days", [31, 91])
@pytest.mark.parametrize(
    "facts", [{"stage": "provisional", "items": [build.crown(material="pmma")]}, {"impression": "open_tray"}]
)
def test_v18_only_scans_for_finals_age(days: int, facts: dict[str, Any]) -> None:
    with time_machine.travel(NOW, tick=False):
        assert of("V18", **scanned(days, **facts)) == []


def test_v18_says_what_would_do() -> None:
    with time_machine.travel(NOW, tick=False):
        assert sentence("V18", **scanned(40)).endswith(
            "is 40 days old, and tissue moves. Scan again, or say why it holds."
        )
        assert sentence("V18", **scanned(95)) == "V18: The scan is 95 days old. Send a new one and give its day."
        refuses("V18", "scanned_on", "Give the day on which it was taken.", **scanned(-1))


def test_v18_counts_days_at_the_practice() -> None:
    cast.practice(time_zone="Pacific/Auckland")
    with time_machine.travel("2031-03-05T15:00:00Z", tick=False):
        assert of("V18", **scanned(-1)) == []
        assert of("V18", **scanned(-2)) == [(REFUSE, "scanned_on")]


@pytest.mark.parametrize(("tooth", "found"), [("18", 1), ("48", 1), ("17", 0), ("11", 0)])
def test_a_third_molar_is_asked_for(tooth: str, found: int) -> None:
    piece = build.crown(tooth, notation="fdi")
    assert in_piece("tooth", piece) == [(WARN, "items.0.tooth")] * found
    assert passes(piece).state == "draft"
