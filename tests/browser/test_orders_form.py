"""Ordering in a real browser: by keyboard, without JavaScript, on a phone."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from orders.models import Case
from tests import cast
from tests.harness.browser import Console
from tests.orders import build

SignedIn = Callable[..., Page]
Axe = Callable[[Page], None]


def fill(page: Page) -> None:
    """A final abutment with its crown on tooth 8, as a practice types it."""
    seat = build.seat_in(15)
    page.get_by_label("Patient reference").fill("k-2041")
    page.get_by_label("Final").check()
    page.get_by_label("Seat appointment, day").fill(f"{seat:%Y-%m-%d}")
    page.get_by_label("Time", exact=True).fill("14:00")
    page.get_by_label("Tooth (needed)").fill("8")
    page.get_by_label("Abutment and crown").check()
    page.get_by_label("Material of the abutment").select_option("Titanium alloy")
    page.get_by_label("Material of the crown").select_option("Zirconia 4Y")
    page.get_by_label("Shade of the crown").fill("N2")
    page.get_by_label("Implant system").fill("Averin C")
    page.get_by_label("Connection").select_option("Conical with index")
    page.get_by_label("Platform, mm").fill("4.3")


@pytest.mark.parametrize("scripts", [True, False])
def test_an_order_from_the_form_to_the_signature(signed_in: SignedIn, scripts: bool) -> None:
    page = signed_in(cast.prescriber(), java_script_enabled=scripts)
    page.goto("/cases/new")
    fill(page)
    page.get_by_role("button", name="Save the draft").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Case")
    expect(page.get_by_text("upper right central incisor").first).to_be_visible()
    page.get_by_role("button", name="Sign the prescription").click()
    expect(page.get_by_text("counts now")).to_be_visible()
    case = Case.objects.get()
    assert (case.state, case.patient_ref) == ("signed", "K-2041")


def test_a_second_tooth_on_the_draft(signed_in: SignedIn) -> None:
    page = signed_in(cast.assistant(), java_script_enabled=False)
    page.goto("/cases/new")
    fill(page)
    page.get_by_role("button", name="Save and add another tooth").click()
    another = page.locator("#another")
    another.get_by_label("Tooth (needed)").fill("30")
    another.get_by_label("One-piece crown on a titanium base").check()
    another.get_by_label("Material of the crown").select_option("Zirconia 3Y")
    another.get_by_label("Shade of the crown").fill("N3")
    another.get_by_label("Implant system").fill("Averin C")
    another.get_by_label("Connection").select_option("Conical with index")
    another.get_by_label("Platform, mm").fill("5.0")
    page.get_by_role("button", name="Save the draft").click()
    expect(page.get_by_text("lower right first molar").first).to_be_visible()
    assert Case.objects.get().draft is not None


def test_a_tooth_without_its_notation_is_refused_at_its_field(
    signed_in: SignedIn, axe: Axe, console_errors: Console
) -> None:
    page = signed_in(cast.assistant())
    page.goto("/cases/new")
    fill(page)
    page.get_by_label("Notation").select_option("")
    with page.expect_response(re.compile("/cases/new$")) as answer:
        page.get_by_role("button", name="Save the draft").click()
    assert answer.value.status == 422
    expect(page.get_by_label("Notation")).to_have_attribute("aria-invalid", "true")
    expect(page.get_by_text("A bare number can mean two teeth.").first).to_be_visible()
    axe(page)
    assert not Case.objects.exists()
    console_errors.expect("422")


def test_the_form_by_keyboard_alone(signed_in: SignedIn) -> None:
    """From the first field on, Tab goes through the form in the order in which it is read."""
    page = signed_in(cast.assistant())
    page.goto("/cases/new")
    page.get_by_label("Patient reference").focus()
    names = []
    for _ in range(30):
        names.append(page.evaluate("document.activeElement.name || document.activeElement.textContent.trim()"))
        page.keyboard.press("Tab")
    seen = list(dict.fromkeys(names))
    expected = ["patient_ref", "stage", "seat_day", "seat_time", "items-0-tooth", "items-0-notation", "items-0-product"]
    assert seen[: len(expected)] == expected
    assert "Save the draft" in seen
    assert seen.index("note") < seen.index("Save the draft")


@pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), (820, "light"), (390, "dark")])
def test_pages_of_orders_are_accessible_and_fit(signed_in: SignedIn, axe: Axe, width: int, scheme: str) -> None:
    case, draft = build.signed_case(), build.draft_case(seat_at=build.seat_in(3))
    options = {"viewport": {"width": width, "height": 900}, "color_scheme": scheme}
    for person, paths in {
        cast.prescriber: ["/cases", "/cases/new", f"/cases/{draft.number}", f"/cases/{draft.number}/prescription"],
        cast.manager: ["/cases", f"/cases/{case.number}"],
        cast.administrator: ["/people", "/practices"],
    }.items():
        page = signed_in(person(), **options)
        for path in paths:
            page.goto(path)
            axe(page)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path
