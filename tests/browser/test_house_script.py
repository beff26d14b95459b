"""What the one script does: scan fields, live parts, and answers that do not come."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, Route, expect

from tests import cast
from tests.harness.browser import Console

pytestmark = pytest.mark.django_db(transaction=True)

SignedIn = Callable[..., Page]

LIVE = """(changed) => {
  const part = document.createElement('div');
  const usual = {id: 'live', 'hx-get': '/parts', 'hx-select': '#text', 'hx-trigger': 'look', 'data-live': ''};
  for (const [name, value] of Object.entries({...usual, ...changed}))
    if (value !== null) part.setAttribute(name, value);
  part.innerHTML = '<a href="#x">old</a>';
  document.querySelector('#main').append(part);
  htmx.process(part);
}"""
LOOK = "htmx.trigger('#live', 'look')"
REQUESTS = "performance.getEntriesByType('resource').filter(r => r.initiatorType == 'xmlhttprequest').length"


@pytest.fixture
def page(signed_in: SignedIn) -> Page:
    """The page of parts with a live part on it."""
    page = signed_in(cast.technician())
    page.goto("/parts")
    page.evaluate(LIVE, {})
    return page


@pytest.fixture
def bench(page: Page) -> Page:
    """The scan field of the page of parts, sending to `/scan` and answering into `#live`."""
    page.evaluate("""() => {
      const form = document.querySelector('form.scan');
      for (const [name, value] of [['hx-post', '/scan'], ['hx-target', '#live'], ['hx-sync', 'this:queue all']])
        form.setAttribute(name, value);
      htmx.process(form);
    }""")
    page.locator("#scan").focus()
    return page


def scan(page: Page, code: str) -> None:
    """What a scanner does: type fast, end with Enter."""
    page.keyboard.type(code)
    page.keyboard.press("Enter")


def lost(console: Console, reason: str) -> None:
    """The browser and htmx both complain of a request without an answer."""
    for part in (reason, "htmx:sendError", "htmx:afterRequest"):
        console.expect(part)


def test_live_part_is_replaced(page: Page) -> None:
    page.evaluate(LOOK)
    expect(page.locator("#live #text")).to_have_text("Text")


def test_live_part_waits_while_somebody_works_in_it(page: Page) -> None:
    page.get_by_role("link", name="old").focus()
    page.evaluate(LOOK)
    assert page.evaluate(REQUESTS) == 0
    page.locator("#scan").focus()
    page.evaluate(LOOK)
    expect(page.locator("#live #text")).to_be_visible()


def test_live_part_waits_while_somebody_selects_in_it(page: Page) -> None:
    page.evaluate("getSelection().selectAllChildren(document.querySelector('#live'))")
    page.evaluate(LOOK)
    assert page.evaluate(REQUESTS) == 0


def test_refusal_is_shown_in_the_notice_area(signed_in: SignedIn, console_errors: Console) -> None:
    page = signed_in(cast.prescriber())
    page.goto("/")
    page.evaluate(LIVE, {})
    page.evaluate(LOOK)
    expect(page.get_by_role("status")).to_contain_text("Not allowed. Nothing was written. The role practice cannot")
    expect(page.locator("#live")).to_have_text("old")
    console_errors.expect("403")


def test_whole_page_does_not_land_in_a_part(signed_in: SignedIn, console_errors: Console) -> None:
    page = signed_in(cast.technician())
    page.goto("/parts")
    page.evaluate(LIVE, {"hx-get": "/nowhere", "hx-select": None})
    page.evaluate(LOOK)
    expect(page.get_by_role("status")).to_have_text("Not done. This page is out of date; load it again.")
    expect(page.locator("#live")).to_have_text("old")
    console_errors.expect("404")


def test_lost_connection_is_said(page: Page, console_errors: Console) -> None:
    page.context.set_offline(True)
    page.evaluate(LOOK)
    expect(page.get_by_role("status")).to_have_text("No answer. The service cannot be reached.")
    expect(page.locator("#live")).to_have_text("old")
    lost(console_errors, "ERR_INTERNET_DISCONNECTED")


def test_sign_in_that_ran_out_leads_to_the_sign_in(page: Page) -> None:
    page.context.clear_cookies()
    page.evaluate(LOOK)
    page.wait_for_url("**/sign-in?next=/parts")


def test_scans_are_kept_while_one_is_on_its_way(bench: Page) -> None:
    sent: list[str] = []
    held: list[Route] = []

    def receive(route: Route) -> None:
        sent.append((route.request.post_data_json or {})["code"])
        held.append(route)

    bench.route("**/scan", receive)
    for code in ("C1", "C2", "C3"):
        scan(bench, code)
    bench.keyboard.type("C4")
    for at in range(3):
        while len(held) <= at:
            bench.wait_for_timeout(20)
        held[at].fulfill(body=f"taken {at + 1}")
    expect(bench.locator("#live")).to_have_text("taken 3")
    assert sent == ["C1", "C2", "C3"]
    expect(bench.locator("#scan")).to_have_value("C4")
    expect(bench.locator("#scan")).to_be_focused()


def test_empty_line_is_not_sent(bench: Page) -> None:
    bench.keyboard.press("Enter")
    assert bench.evaluate(REQUESTS) == 0


def test_scans_without_an_answer_are_listed_until_one_arrives(bench: Page, console_errors: Console) -> None:
    bench.route("**/scan", lambda route: route.abort())
    scan(bench, "C1")
    scan(bench, "C2")
    notice = bench.get_by_role("status")
    expect(notice).to_contain_text("Scan again: C1, C2. The same scan counts once.")
    lost(console_errors, "ERR_FAILED")
    bench.unroute("**/scan")
    bench.route("**/scan", lambda route: route.fulfill(body="taken"))
    scan(bench, "C1")
    expect(bench.locator("#live")).to_have_text("taken")
    bench.unroute("**/scan")
    bench.route("**/scan", lambda route: route.fulfill(status=500))
    scan(bench, "C2")
    expect(notice).to_contain_text("The service failed; nothing was written. Scan again: C2.")
    console_errors.expect("500")


def test_a_scan_while_nothing_has_the_focus_is_whole(bench: Page) -> None:
    """From its first character on: a scanner does not wait until somebody has clicked."""
    bench.evaluate("document.activeElement.blur()")
    bench.keyboard.type("2600123014")
    expect(bench.locator("#scan")).to_have_value("2600123014")
