"""The shipping desk in a real browser: a scanner's keystrokes fill a box, and nothing needs a mouse."""

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from orders.models import Case
from shipping import prices
from tests import cast
from tests.harness.browser import Console
from tests.orders.build import abutment, crown
from tests.production.build import finished_case, piece
from tests.shipping.build import boxed_case, packed, print_all, shipped

pytestmark = pytest.mark.django_db(transaction=True)

SignedIn = Callable[..., Page]
Axe = Callable[[Page], None]
OVERFLOW = "() => document.documentElement.scrollWidth - innerWidth"


def scan(page: Page, code: str) -> None:
    """What a scanner does: type and press Enter, wherever the focus is."""
    page.keyboard.type(code)
    page.keyboard.press("Enter")


def test_a_box_is_filled_closed_and_sent_from_the_keyboard(signed_in: SignedIn) -> None:
    prices.load(cast.laboratory())
    case = finished_case()
    page = signed_in(cast.shipper())
    page.goto(f"/shipping/{case.number}/pack")
    expect(page.get_by_role("button", name="Close the box")).to_be_disabled()
    scan(page, piece(case, "abutment").code)
    expect(page.locator("#scanned")).to_contain_text("In the box")
    scan(page, piece(case, "crown").code)
    expect(page.locator("#scanned")).to_contain_text("every piece is in")
    expect(page.locator("#pieces").get_by_text("In the box")).to_have_count(2)
    page.get_by_role("button", name="Close the box").press("Enter")
    expect(page.locator("#papers")).to_contain_text("Being printed")
    print_all()
    expect(page.get_by_role("link", name="Case slip")).to_be_visible()
    page.get_by_label("Carrier").fill("Harbour Courier")
    page.keyboard.press("Enter")
    expect(page.locator("#notice")).to_contain_text("has left with Harbour Courier. Invoice INV-")
    assert Case.objects.get(pk=case.pk).state == "shipped"


def test_a_piece_of_another_box_is_refused_in_large_letters(signed_in: SignedIn, console_errors: Console) -> None:
    case, other = finished_case(), finished_case(items=[abutment("9"), crown("9")])
    page = signed_in(cast.shipper())
    page.goto(f"/shipping/{case.number}/pack")
    scan(page, piece(other).code)
    alert = page.locator("#scanned").get_by_role("alert")
    expect(alert).to_contain_text("WRONG BOX")
    expect(alert).to_contain_text(other.number)
    expect(page.get_by_label("Scan each piece")).to_be_focused()
    console_errors.expect("409")
    scan(page, piece(case).code)
    expect(page.locator("#scanned")).to_contain_text("In the box")


def test_without_javascript_a_box_is_filled_and_closed_as_well(signed_in: SignedIn) -> None:
    case = finished_case(items=[abutment()])
    page = signed_in(cast.shipper(), java_script_enabled=False)
    page.goto(f"/shipping/{case.number}/pack")
    page.get_by_label("Scan each piece").fill(piece(case, "abutment").code)
    page.keyboard.press("Enter")
    expect(page.locator("#scanned")).to_contain_text("every piece is in")
    page.get_by_role("button", name="Close the box").click()
    expect(page.get_by_role("link", name="Look again")).to_be_visible()


def test_a_paper_is_downloaded_under_the_number_of_its_case(signed_in: SignedIn) -> None:
    delivery = packed(items=[abutment()])
    print_all()
    page = signed_in(cast.assistant())
    page.goto(f"/cases/{delivery.case.number}/papers")
    with page.expect_download() as download:
        page.get_by_role("link", name="Case slip").click()
    assert download.value.suggested_filename == f"slip-{delivery.case.number}.pdf"
    assert download.value.path().read_bytes().startswith(b"%PDF-")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
def test_the_pages_break_no_rule_of_accessibility(signed_in: SignedIn, axe: Axe, scheme: str, width: int) -> None:
    open_box, closed = boxed_case(items=[abutment("8")]), packed(items=[abutment("9")]).case
    gone = shipped(items=[abutment("10")]).case
    page = signed_in(cast.shipper(), color_scheme=scheme, viewport={"width": width, "height": 900})
    boxes = [f"/shipping/{case.number}/pack" for case in (open_box, closed, gone)]
    for address in ("/shipping", "/invoices", f"/cases/{gone.number}/papers", *boxes):
        page.goto(address)
        expect(page.locator("h1")).to_have_text(re.compile("."))
        assert page.evaluate(OVERFLOW) <= 0, address
        axe(page)
