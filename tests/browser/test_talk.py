"""The conversation in a real browser: a dentist answers on a phone, approves a design, loses nothing half written."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from orders.models import Message
from tests import cast
from tests.orders.talk.build import approver, asked_case, shown_design

SignedIn = Callable[..., Page]
Axe = Callable[[Page], None]
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}
WIDTHS = [(1280, 800), (820, 1180), (390, 844)]


def test_a_dentist_answers_on_a_phone_with_a_few_taps(signed_in: SignedIn) -> None:
    case, question = asked_case("Which screw: the long one or the short one?")
    page = signed_in(cast.prescriber(), **PHONE)
    page.goto("/")
    page.get_by_role("link", name=case.number).first.tap()
    expect(page.get_by_role("heading", name="Question")).to_be_visible()
    field, button = page.get_by_label("Your answer (needed)"), page.get_by_role("button", name="Send the answer")
    box = button.bounding_box()
    assert box is not None
    assert box["height"] >= 40, "a thumb hits it"
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    field.tap()
    page.keyboard.type("The long one.")
    button.tap()
    expect(page.locator("#notice")).to_contain_text(f"Case {case.number} goes on.")
    expect(page.get_by_text("The long one.").first).to_be_visible()
    case.refresh_from_db()
    assert not case.on_hold
    assert Message.objects.get(answers=question).by == cast.prescriber()


def test_an_answer_needs_no_script(signed_in: SignedIn) -> None:
    case, _ = asked_case()
    page = signed_in(cast.assistant(), java_script_enabled=False)
    page.goto(f"/cases/{case.number}")
    page.get_by_role("link", name="What was said about this case").click()
    page.get_by_label("Your answer (needed)").fill("The long one.")
    page.get_by_role("button", name="Send the answer").click()
    expect(page.get_by_text(f"Case {case.number} goes on.")).to_be_visible()


def test_a_design_is_approved_with_one_tap_more(signed_in: SignedIn) -> None:
    case, _ = shown_design()
    page = signed_in(approver(), **PHONE)
    page.goto(f"/cases/{case.number}")
    page.get_by_role("button", name="Approve the design").tap()
    expect(page.get_by_text("is approved under your name")).to_be_visible()
    assert case.messages.get(kind="approved").by == approver()


def test_what_is_half_written_outlives_the_next_look(signed_in: SignedIn) -> None:
    case, _ = asked_case()
    page = signed_in(cast.assistant())
    page.goto(f"/cases/{case.number}/talk")
    page.get_by_label("Your answer (needed)").fill("The long")
    page.get_by_label("Your answer (needed)").blur()
    live = "section[data-live]"
    page.evaluate(f"document.querySelector('{live}').dataset.before = 'yes'")
    page.evaluate(f"htmx.ajax('GET', location.pathname, {{source: '{live}', swap: 'outerHTML'}})")
    expect(page.locator("[data-before]")).to_have_count(0)
    expect(page.get_by_label("Your answer (needed)")).to_have_value("The long")


@pytest.mark.parametrize(("width", "height"), WIDTHS)
def test_both_sides_are_accessible(signed_in: SignedIn, axe: Axe, width: int, height: int) -> None:
    (case, _), (other, _) = asked_case(), shown_design(patient_ref="K-7")
    size = {"viewport": {"width": width, "height": height}}
    for person in (approver(), cast.technician()):
        page = signed_in(person, **size)
        for number in (case.number, other.number):
            page.goto(f"/cases/{number}/talk")
            expect(page.get_by_role("heading", name="Conversation")).to_be_visible()
            axe(page)
    page = signed_in(approver(), **size)
    page.goto("/notices")
    axe(page)
