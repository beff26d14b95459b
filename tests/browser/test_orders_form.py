"""Ordering in a real browser: by keyboard, without JavaScript, on a phone."""

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from orders.models import Case, Practice
from tests import cast
from tests.harness.browser import Console
from tests.orders import build
from tests.orders.scans import scanned

SignedIn = Callable[..., Page]
Axe = Callable[[Page], None]


def fill(page: Page) -> None:
    """A final abutment with its crown on tooth 8, as a practice types it."""
    seat = build.seat_in(15)
    page.get_by_label("Patient reference").fill("k-2041")
    page.get_by_label("Final").check()
    page.get_by_label("Seat appointment, day").fill(f"{seat:%Y-%m-%d}")
    page.get_by_label("Time", exact=True).fill("14:00")
    page.get_by_label("None known to the patient").check()
    page.get_by_label("Tooth", exact=True).fill("8")
    page.get_by_label("Abutment and crown").check()
    page.get_by_label("Material of the abutment").select_option("Titanium alloy")
    page.get_by_label("Material of the crown").select_option("Zirconia 4Y")
    page.get_by_label("Shade of the crown").fill("N2")
    page.get_by_label("Implant system").fill("Averin C")
    page.get_by_label("Connection").select_option("Conical with index")
    page.get_by_label("Platform, mm").fill("4.3")
    page.get_by_label("Level of the implant").select_option("Bone level")
    page.get_by_role("combobox", name="Position of the implant", exact=True).select_option("Impression, open tray")
    page.get_by_role("combobox", name="Analog", exact=True).select_option("From the laboratory")
    page.get_by_role("combobox", name="Opposing arch", exact=True).select_option("Impression")
    page.get_by_role("combobox", name="Bite", exact=True).select_option("Record")
    page.get_by_label("Disinfected with").fill("Peracetic acid")
    page.get_by_label("Minutes in the disinfectant").fill("10")


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
    another.get_by_label("Tooth", exact=True).fill("30")
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
    for _ in range(60):
        names.append(page.evaluate("document.activeElement.name || document.activeElement.textContent.trim()"))
        page.keyboard.press("Tab")
    seen = list(dict.fromkeys(names))
    expected = ["patient_ref", "stage", "seat_day", "seat_time", "allergy", "items-0-chart", "items-0-tooth"]
    assert seen[: len(expected)] == expected
    assert "Save the draft" in seen
    assert seen.index("items-0-product") < seen.index("impression") < seen.index("Save the draft")


def test_a_reason_that_is_typed_while_the_check_runs_stays(signed_in: SignedIn) -> None:
    page = signed_in(cast.prescriber())
    page.goto("/cases/new")
    fill(page)
    page.get_by_label("Material of the crown").select_option("Zirconia 3Y")
    reason = page.get_by_label("V04: Zirconia 3Y is unusual")
    reason.wait_for()
    page.get_by_label("Shade of the crown").fill("N3")
    with page.expect_response(re.compile("/cases/check$")):
        reason.focus()
        page.keyboard.type("As discussed", delay=60)
    page.keyboard.type(" on Monday")
    expect(reason).to_be_focused()
    expect(reason).to_have_value("As discussed on Monday")
    page.get_by_role("button", name="Save and go on to sign").click()
    expect(page.get_by_label("V04: Zirconia 3Y is unusual")).to_have_value("As discussed on Monday")


# Of each single-line control of the form: where its label begins, and how far below that the control does.
CONTROLS = """[...document.querySelectorAll("[data-tooth] > .fields .field:not(fieldset, .tick)")].filter(field =>
    field.checkVisibility()).map(field => {
    const [label, control] = [field.querySelector("label"), field.querySelector("input, select")];
    const top = label.getBoundingClientRect().top;
    return [Math.round(top), Math.round(control.getBoundingClientRect().top - top)];
})"""


def rows(page: Page) -> dict[int, set[int]]:
    """The controls of the form, by the height at which their labels begin."""
    found: dict[int, set[int]] = {}
    for label, below in page.evaluate(CONTROLS):
        found.setdefault(label, set()).add(below)
    return found


@pytest.mark.parametrize(("width", "count"), [(1280, 2), (820, 3), (390, 5)])
def test_controls_of_one_row_begin_at_one_height(
    signed_in: SignedIn, console_errors: Console, width: int, count: int
) -> None:
    """However long the help of a field is, and whether it was refused or not."""
    page = signed_in(cast.assistant(), viewport={"width": width, "height": 900})
    page.goto("/cases/new")
    page.get_by_label("Abutment and crown").check()
    empty = rows(page)
    fill(page)
    page.get_by_label("Material of the abutment").select_option("")
    page.get_by_label("Material of the crown").select_option("")
    page.get_by_role("button", name="Save the draft").click()
    expect(page.locator(".field.wrong")).to_have_count(2)
    console_errors.expect("422")
    for found in (empty, rows(page)):
        assert len(found) == count
        assert all(len(heights) == 1 for heights in found.values()), found


def test_the_scans_of_a_case_unfold_without_scripts(signed_in: SignedIn, axe: Axe) -> None:
    case = build.accepted_case()
    scanned(case, 40)
    page = signed_in(cast.manager(), java_script_enabled=False)
    page.goto(f"/cases/{case.number}")
    history = page.get_by_role("region", name="History")
    expect(history.get_by_text("Scanned: mill").locator("visible=true")).to_have_count(1)
    history.get_by_text("39 scans before").click()
    expect(history.get_by_text("Scanned: mill").locator("visible=true")).to_have_count(40)
    page = signed_in(cast.manager())
    page.goto(f"/cases/{case.number}")
    page.get_by_text("39 scans before").click()
    axe(page)


def test_the_administrator_adds_a_practice_and_changes_it(signed_in: SignedIn, axe: Axe) -> None:
    page = signed_in(cast.administrator())
    page.goto("/practices")
    for label, text in {"Code": "westbrook", "Name": "Westbrook Dental", "Address": "9 West Lane"}.items():
        page.get_by_label(f"{label} (needed)").fill(text)
    page.get_by_label("Telephone").fill("555 0199")
    page.get_by_label("Palmer").check()
    page.get_by_label("Friday").uncheck()
    page.get_by_role("button", name="Add").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Westbrook Dental")
    page.get_by_label("Time zone").fill("Europe/Lisbon")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("time zone America/New_York → Europe/Lisbon")).to_be_visible()
    axe(page)
    practice = Practice.objects.get(code="westbrook")
    assert (practice.notation, practice.weekdays, practice.time_zone) == ("palmer", "0123", "Europe/Lisbon")


@pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), (820, "light"), (390, "dark")])
def test_pages_of_orders_are_accessible_and_fit(signed_in: SignedIn, axe: Axe, width: int, scheme: str) -> None:
    case, draft = build.signed_case(), build.draft_case(seat_at=build.seat_in(3))
    options = {"viewport": {"width": width, "height": 900}, "color_scheme": scheme}
    for person, paths in {
        cast.prescriber: ["/cases", "/cases/new", f"/cases/{draft.number}", f"/cases/{draft.number}/prescription"],
        cast.manager: ["/cases", f"/cases/{case.number}"],
        cast.administrator: ["/people", "/practices", "/practices/northgate"],
    }.items():
        page = signed_in(person(), **options)
        for path in paths:
            page.goto(path)
            axe(page)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path


class Keys:
    """The keyboard alone. What is typed is not counted, every other key is."""

    def __init__(self, page: Page) -> None:
        self.page, self.pressed = page, 0

    def press(self, *keys: str) -> None:
        """Keys that are no value."""
        for key in keys:
            self.page.keyboard.press(key)
            self.pressed += 1

    def type(self, text: str) -> None:
        """A value, where the focus is."""
        self.page.keyboard.type(text)

    def to(self, name: str) -> None:
        """Tab on until the control of that name has the focus."""
        for _ in range(40):
            if self.page.evaluate("document.activeElement.name || document.activeElement.textContent.trim()") == name:
                return
            self.press("Tab")
        raise AssertionError(f"Tab never comes to {name}")


def test_a_provisional_and_its_final_by_keyboard_alone(signed_in: SignedIn) -> None:
    """At most 60 keys beyond what is typed, from the empty form to the signature of the final weeks later."""
    build.signed_case(patient_ref="K-1")  # how things come to the laboratory is as on an earlier order
    page = signed_in(cast.prescriber())
    keys = Keys(page)
    page.goto("/cases/new")
    order_provisional(keys)
    expect(page.get_by_text("counts now")).to_be_visible()
    provisional = Case.objects.get(patient_ref="K-2041")
    assert (provisional.stage, provisional.state, provisional.on_hold) == ("provisional", "signed", False)
    weeks_later(provisional)
    page.goto("/")
    evaluate(keys, provisional)
    order_final(keys)
    expect(page.get_by_text("counts now")).to_be_visible()
    final = Case.objects.get(origin=provisional)
    assert (final.stage, final.relation, final.state, final.on_hold) == ("final", "final", "signed", False)
    assert final.seat_at == provisional.final_seat_at
    print(f"keys beyond what was typed: {keys.pressed}")
    assert keys.pressed <= 60, keys.pressed


def order_provisional(keys: Keys) -> None:
    """A one-piece provisional crown on tooth 8, and its signature."""
    seat = build.seat_in(15)
    keys.type("k-2041")
    keys.to("stage")
    keys.press("Space")
    keys.to("seat_day")
    keys.type(f"{seat:%m%d%Y}")
    keys.to("seat_time")
    keys.type("0200PM")
    keys.to("allergy")
    keys.press("Space")
    keys.to("items-0-tooth")
    keys.type("8")
    keys.to("items-0-product")
    keys.press("ArrowUp")  # the last of the products
    for name, text in {
        "crown_material": "PMMA",
        "shade": "N2",
        "system": "Averin C",
        "connection": "Conical",
        "platform": "4.3",
        "level": "Bone",
        "lot": "L-77",
    }.items():
        keys.to(f"items-0-{name}")
        keys.type(text)
    disinfected(keys)
    sign(keys)


def disinfected(keys: Keys) -> None:
    """How long the impression lay in the disinfectant is said with each order."""
    keys.to("disinfected_minutes")
    keys.type("10")


def sign(keys: Keys) -> None:
    """Save, read the case, sign it: the button has the focus."""
    keys.press("Enter")
    expect(keys.page.get_by_role("button", name="Sign the prescription")).to_be_focused()
    keys.press("Enter")


def weeks_later(case: Case) -> None:
    """The provisional was made and seated, its trial is over, and the final has its appointment."""
    then = timezone.now() - timedelta(days=25)
    final = build.seat_in(20)
    Case.objects.filter(pk=case.pk).update(state="shipped", seat_at=then, shipped_at=then, final_seat_at=final)
    case.refresh_from_db()


def evaluate(keys: Keys, case: Case) -> None:
    """From the first page to the evaluation: all is as it should be, the final is ordered now."""
    keys.to(f"{case.number}, patient code K-2041")
    keys.press("Enter")
    keys.page.wait_for_url("**/evaluation")
    keys.to("happy")
    keys.press("Space")
    keys.to("decision")
    keys.press("Space", "Enter")
    keys.page.wait_for_url("**/cases/new?final_of=*")


def order_final(keys: Keys) -> None:
    """Everything is carried over; only the material is chosen."""
    expect(keys.page.locator("[name=items-0-crown_material]")).to_be_focused()
    keys.type("Zirconia 4Y")
    disinfected(keys)
    sign(keys)
