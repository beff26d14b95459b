"""The parts in a real browser: accessible, in reach of a finger and of the keyboard, and at home on a phone."""

from collections.abc import Callable
from io import BytesIO

import pytest
from playwright.sync_api import BrowserContext, Page
from pypdf import PdfReader

from tests import cast

pytestmark = pytest.mark.django_db(transaction=True)

SignedIn = Callable[..., Page]
Axe = Callable[[Page], None]

# Elements that are wider than the window and do not stand in a region that scrolls by itself.
OVERFLOW = """() => [...document.querySelectorAll('body *')]
  .filter(e => e.getBoundingClientRect().right > innerWidth + 1 && !e.closest('.scroll, .unseen, .skip'))
  .map(e => e.tagName + '.' + e.className)"""

# Links inside running text are measured by their line; everything else by its box.
SMALL = """(least) => [...document.querySelectorAll('button, .button, input, select, textarea, summary, nav a, .lab')]
  .filter(e => e.offsetParent && !e.closest('.skip, .scan [type=hidden]') && e.type !== 'hidden')
  .map(e => [e.getBoundingClientRect(), e])
  .filter(([box]) => box.height < least || box.width < least)
  .map(([box, e]) => `${e.tagName}.${e.className} ${box.width}x${box.height}`)"""

# Where the focus is, and its outline. None while it is inside an input, on a part of it that the browser itself rings.
FOCUS = """() => { const e = document.activeElement, style = getComputedStyle(e);
  const ring = e.matches(':focus') ? [style.outlineStyle, style.outlineWidth] : null;
  return [e.tagName, e.id || e.textContent.trim().slice(0, 30), ring]; }"""


@pytest.fixture
def parts(signed_in: SignedIn) -> Callable[..., Page]:
    """`parts(**options)`: the page of parts, open in a browser with those options."""

    def open_parts(**options: object) -> Page:
        page = signed_in(cast.technician(), **options)
        page.goto("/parts")
        return page

    return open_parts


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 820, 1280])
def test_parts_break_no_rule_of_accessibility(parts: Callable[..., Page], axe: Axe, scheme: str, width: int) -> None:
    axe(parts(color_scheme=scheme, viewport={"width": width, "height": 900}))


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_sign_in_breaks_no_rule_of_accessibility(
    new_context: Callable[..., BrowserContext], axe: Axe, scheme: str
) -> None:
    page = new_context(color_scheme=scheme).new_page()
    page.goto("/sign-in")
    axe(page)
    page.get_by_label("Username").fill("nobody")
    page.get_by_label("Password").fill("not-the-password")
    page.keyboard.press("Enter")
    page.get_by_role("alert").wait_for()
    assert "Not signed in." in page.get_by_role("alert").inner_text()
    axe(page)


@pytest.mark.parametrize("width", [320, 640])
def test_nothing_is_cut_off_on_a_phone_or_at_200_percent(parts: Callable[..., Page], width: int) -> None:
    page = parts(viewport={"width": width, "height": 700})
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate(OVERFLOW) == []


def test_table_becomes_cards_that_name_each_value(parts: Callable[..., Page]) -> None:
    page = parts(viewport={"width": 390, "height": 844})
    cell = page.locator("table.cards td[data-label=Risk]").first
    assert cell.evaluate("e => getComputedStyle(e, '::before').content") == '"Risk"'
    tops = page.locator("table.cards tbody tr").first.evaluate(
        "row => [...row.cells].map(cell => cell.getBoundingClientRect().top)"
    )
    assert len(set(tops)) == len(tops) == 5
    assert page.get_by_role("table", name="Cases at risk").get_by_role("row").count() == 5


def test_targets_are_large_enough(parts: Callable[..., Page]) -> None:
    assert parts().evaluate(SMALL, 24) == []


def test_targets_at_a_station_are_large_enough_for_a_glove(parts: Callable[..., Page]) -> None:
    page = parts()
    page.evaluate("document.body.classList.add('bench')")
    page.wait_for_timeout(200)
    boxes = page.evaluate(SMALL, 48)
    assert [box for box in boxes if not box.startswith("INPUT")] == []
    assert [box for box in boxes if box.startswith("INPUT")] == ["INPUT. 32x32"] * 3


def test_the_keyboard_reaches_everything_and_shows_where_it_is(parts: Callable[..., Page]) -> None:
    page = parts()
    page.evaluate("document.body.tabIndex = -1; document.body.focus(); document.body.removeAttribute('tabindex')")
    seen = []
    for _ in range(60):
        page.keyboard.press("Tab")
        seen.append(page.evaluate(FOCUS))
        if seen[-1][:2] == ["BUTTON", "Enter"]:
            break
    names = [name for _, name, _ in seen]
    assert names[0] == "Skip to the content"
    assert {"scan", "id_reference", "filter-state", "What is folded away"} <= set(names)
    assert [step for step in seen if step[2] not in (None, ["solid", "3px"])] == []


def test_faults_take_the_focus_and_lead_to_their_field(parts: Callable[..., Page]) -> None:
    page = parts()
    assert "Not saved." in page.evaluate("document.activeElement.textContent")
    page.get_by_role("link", name="Patient reference").click()
    assert page.evaluate("document.activeElement.id") == "id_reference"


def test_asking_once_more_needs_no_script(parts: Callable[..., Page]) -> None:
    page = parts(java_script_enabled=False)
    question = page.get_by_text("The case leaves the floor and cannot be taken up again.")
    assert not question.is_visible()
    page.locator("summary", has_text="Cancel the case").click()
    assert question.is_visible()


def test_forced_colours_keep_every_sign(parts: Callable[..., Page], axe: Axe) -> None:
    page = parts(forced_colors="active")
    for part in (".state", ".notice", ".card", "button"):
        assert page.locator(part).first.evaluate("e => getComputedStyle(e).borderTopStyle") == "solid"
    axe(page)


def test_nothing_moves_where_motion_is_not_wanted(parts: Callable[..., Page]) -> None:
    moves = "e => getComputedStyle(e).transitionDuration"
    assert parts(reduced_motion="reduce").locator("button").first.evaluate(moves) == "0s"
    assert "0.12s" in parts(reduced_motion="no-preference").locator("button").first.evaluate(moves)


def test_print_leaves_out_what_can_only_be_clicked(parts: Callable[..., Page]) -> None:
    text = "".join(sheet.extract_text() for sheet in PdfReader(BytesIO(parts().pdf(format="A4"))).pages)
    assert "Decision support only" in text
    assert "Cases at risk" in text
    assert "late likely" in text
    for gone in ("Sign out", "Sign the prescription", "Scan a case", "Previous"):
        assert gone not in text
