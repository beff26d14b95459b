"""Differences between versions, in words."""

from decimal import Decimal
from typing import Any

import pytest
import time_machine

from orders.intake import edit_draft
from orders.signoff import amend
from orders.versions import differences
from tests import cast
from tests.orders import build

pytestmark = pytest.mark.django_db

NOON = "2031-03-05T15:00:00Z"


def change(**facts: Any) -> list[str]:
    """What a change of the usual order reads like."""
    with time_machine.travel(NOON, tick=False):
        case = build.signed_case()
        amend(cast.assistant(), case)
        draft = edit_draft(cast.assistant(), case, **build.order(**facts))
        assert case.current is not None
        return differences(case.current, draft, case.practice)


def test_the_same_order_has_no_differences() -> None:
    assert change() == []


def test_a_shade() -> None:
    found = change(items=[build.abutment(), build.crown(shade="N3")])
    assert found == [f"8 Universal, upper right central incisor, crown on an abutment: shade {build.SHADE} → N3"]


def test_everything_of_a_piece() -> None:
    piece = build.abutment(
        material="zirconia_3y", shade="N1", system="Merrow T", connection="morse", platform=Decimal("5.3")
    )
    found = change(items=[piece, build.crown()])
    start = "8 Universal, upper right central incisor, abutment: "
    assert [line.removeprefix(start) for line in found] == [
        *("material Titanium alloy → Zirconia 3Y", "shade none → N1", f"system {build.SYSTEM} → Merrow T"),
        *("connection Conical with index → Morse taper", "platform 4.3 mm → 5.3 mm"),
    ]


def test_what_an_order_says_beyond_that() -> None:
    piece = build.abutment(margin_facial=Decimal("-0.75"), emergence="expand", engaging=False)
    found = change(items=[piece, build.crown()], rush=True, allergy="yes", allergens=["nickel", "cobalt"])
    start = "8 Universal, upper right central incisor, abutment: "
    assert [line.removeprefix(start) for line in found] == [
        *("Allergy: None known to the patient → Yes", "Allergens: none → nickel, cobalt", "Rush: no → yes"),
        *("engaging yes → no", "margin facial none → -0.75 mm"),
        "emergence none → Expand the tissue",
    ]


def test_a_layered_crown() -> None:
    found = change(items=[build.abutment(), build.crown(layered=True)])
    assert found == ["8 Universal, upper right central incisor, crown on an abutment: layered no → yes"]


def test_pieces_that_come_and_go() -> None:
    assert change(items=[build.abutment(), build.screw_crown("30")]) == [
        "8 Universal, upper right central incisor, crown on an abutment: taken out",
        "30 Universal, lower right first molar, one-piece crown on a titanium base: added, in zirconia 4Y",
    ]


def test_appointment_and_note() -> None:
    with time_machine.travel(NOON, tick=False):
        seat = build.seat_in(20)
    assert change(seat_at=seat, note="Soft.") == [
        "Seat appointment: Wed 26 Mar, 14:00 → Wed 2 Apr, 14:00",
        "Note: none → “Soft.”",
    ]


def test_an_appointment_that_falls_away() -> None:
    assert change(seat_at=None) == ["Seat appointment: Wed 26 Mar, 14:00 → —"]
