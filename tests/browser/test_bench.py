"""The bench in a real browser: what a technician with a scanner meets."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, Route, expect

from labqueue.production.models import LotInUse, Scan
from orders.hold import hold
from orders.models import Case, Practice
from tests import cast
from tests.browser.test_parts import OVERFLOW, SMALL
from tests.harness.browser import Console
from tests.orders import build as orders
from tests.production.build import piece, released_case, scan_through, send

pytestmark = pytest.mark.django_db(transaction=True)

SignedIn = Callable[..., Page]
Axe = Callable[[Page], None]
FIELD = "#scan"
RESULT = "#scanned .scanned"


@pytest.fixture
def case() -> Case:
    """A case on the floor: an abutment and its crown."""
    return released_case()


def bench(signed_in: SignedIn, station: str = "intake", **options: object) -> Page:
    """The page of a station."""
    page = signed_in(cast.technician(), **options)
    page.goto(f"/bench/{station}")
    return page


def scan(page: Page, line: str) -> None:
    """What a scanner does: it types into whatever has the focus, and ends with Enter."""
    page.keyboard.type(line)
    page.keyboard.press("Enter")


def refused(console: Console, status: int = 409) -> None:
    """The browser and htmx both note a refusal on the console."""
    console.expect(str(status))


def test_a_scan_is_shown_and_the_field_listens_again(signed_in: SignedIn, case: Case) -> None:
    page, item = bench(signed_in), piece(case)
    expect(page.locator(FIELD)).to_be_focused()
    scan(page, item.code)
    result = page.locator(RESULT)
    expect(result).to_contain_text("Started: intake")
    for part in (case.number, "upper right central incisor", "Universal, FDI 11", "Zirconia 4Y, shade N2", "Design"):
        expect(result).to_contain_text(part)
    expect(page.locator(FIELD)).to_be_focused()
    expect(page.locator(FIELD)).to_have_value("")
    expect(page.locator("#queue tr", has_text=item.code)).to_contain_text("In work")


def test_scans_that_come_faster_than_the_answers_all_count(signed_in: SignedIn, case: Case) -> None:
    page = bench(signed_in)
    for line in (f"{piece(case).code} start", f"{piece(case, 'abutment').code} start", f"{piece(case).code} done"):
        scan(page, line)
    expect(page.locator(RESULT)).to_contain_text("Done: intake")
    scans = Scan.objects.order_by("pk")
    assert [(one.item.kind, one.action) for one in scans] == [
        *(("crown", "start"), ("abutment", "start"), ("crown", "done"))
    ]
    assert len({one.key for one in scans}) == 3


def test_a_refusal_is_an_alert_that_says_what_would_be_right(
    signed_in: SignedIn, case: Case, console_errors: Console
) -> None:
    page = bench(signed_in, "milling")
    scan(page, piece(case).code)
    expect(page.get_by_role("alert")).to_contain_text("goes next to Intake, not Dry milling")
    expect(page.locator(FIELD)).to_be_focused()
    assert not Scan.objects.exists()
    refused(console_errors)


def test_a_scan_whose_answer_is_lost_counts_once_when_scanned_again(
    signed_in: SignedIn, case: Case, console_errors: Console
) -> None:
    page, item = bench(signed_in), piece(case)

    def lose(route: Route) -> None:
        route.fetch()
        route.abort()

    page.route("**/scan", lose, times=1)
    scan(page, item.code)
    expect(page.locator("#notice")).to_contain_text(f"Scan again: {item.code}")
    scan(page, item.code)
    expect(page.locator("#notice")).to_contain_text("counted before")
    expect(page.locator(RESULT)).to_contain_text("Started: intake")
    assert Scan.objects.count() == 1
    for part in ("ERR_FAILED", "htmx:sendError", "htmx:afterRequest"):
        console_errors.expect(part)


def test_without_javascript_a_scan_works_and_a_reload_counts_nothing(signed_in: SignedIn, case: Case) -> None:
    page = bench(signed_in, java_script_enabled=False)
    page.locator(FIELD).fill(piece(case).code)
    page.locator(FIELD).press("Enter")
    expect(page.locator(RESULT)).to_contain_text("Started: intake")
    page.reload()
    expect(page.locator(RESULT)).to_contain_text("Started: intake")
    assert Scan.objects.count() == 1


def test_without_javascript_a_refusal_is_shown_with_the_field(
    signed_in: SignedIn, case: Case, console_errors: Console
) -> None:
    page = bench(signed_in, "milling", java_script_enabled=False)
    page.locator(FIELD).fill(piece(case).code)
    page.locator(FIELD).press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("goes next to Intake")
    expect(page.locator(FIELD)).to_be_visible()
    refused(console_errors)


def test_without_javascript_a_lot_is_put_into_use(signed_in: SignedIn, case: Case) -> None:
    page = bench(signed_in, "milling", java_script_enabled=False)
    page.get_by_text("Put a lot into use").click()
    page.get_by_label("For").select_option("pmma")
    page.get_by_label("Lot number").fill("N-1")
    page.get_by_label("Product").fill("New Disc")
    page.get_by_role("button", name="Use this lot").click()
    expect(page.locator("#notice")).to_contain_text("New Disc, lot N-1 is in use at Dry milling.")
    assert LotInUse.objects.get(what="pmma", station__code="milling").lot.number == "N-1"


def test_the_queue_shows_by_itself_what_others_do(signed_in: SignedIn, case: Case) -> None:
    page = signed_in(cast.technician())
    page.clock.install()
    page.goto("/bench/design")
    expect(page.locator("#queue")).to_contain_text("Nothing here now")
    scan_through(piece(case), until="design")
    page.clock.fast_forward(15_500)
    expect(page.locator("#queue")).to_contain_text(piece(case).code)


def crowded(case: Case) -> Case:
    """The bench of the crowns with a piece in work, one that waits and one on hold."""
    for other in (case, released_case(seat_at=orders.seat_in(12)), released_case(seat_at=orders.seat_in(10))):
        scan_through(piece(other, "abutment"), until="quality")
        scan_through(piece(other), until="finishing")
    send(piece(case), "finishing")
    hold(cast.manager(), Case.objects.latest("pk"), "Which of the two shade guides that you name did you take?")
    return case


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 820, 1280])
def test_the_bench_is_accessible_and_fits(
    signed_in: SignedIn, axe: Axe, case: Case, console_errors: Console, scheme: str, width: int
) -> None:
    crowded(case)
    page = bench(signed_in, "finishing", color_scheme=scheme, viewport={"width": width, "height": 900})
    scan(page, f"{piece(case).code} done")
    expect(page.locator(RESULT)).to_contain_text("Done: finish")
    axe(page)
    assert page.evaluate(OVERFLOW) == []
    assert page.evaluate(SMALL, 48) == []
    scan(page, piece(Case.objects.latest("pk")).code)
    expect(page.get_by_role("alert")).to_contain_text("is on hold")
    axe(page)
    assert page.evaluate(OVERFLOW) == []
    refused(console_errors)


# Of each row of the queue: how far its cells lie apart at their tops, and how many lines its tooth's number takes.
ROWS = """() => [...document.querySelectorAll("#queue tbody tr")].map(row => {
  const inside = node => { const range = document.createRange(); range.selectNodeContents(node); return range; };
  const tops = [...row.cells].map(cell => inside(cell).getBoundingClientRect().top);
  return [Math.max(...tops) - Math.min(...tops), inside(row.querySelector(".tooth .number")).getClientRects().length];
})"""


@pytest.mark.parametrize("width", [820, 1280])
def test_the_cells_of_a_row_begin_at_one_height_and_a_tooth_has_one_line(
    signed_in: SignedIn, case: Case, width: int
) -> None:
    crowded(case)
    Practice.objects.update(notation="palmer")
    page = bench(signed_in, "finishing", viewport={"width": width, "height": 900})
    rows = page.evaluate(ROWS)
    assert len(rows) == 3
    assert all(apart < 6 and lines == 1 for apart, lines in rows)


@pytest.mark.parametrize("width", [320, 1280])
@pytest.mark.parametrize("where", ["/bench", "/bench/milling", "/bench/intake/queue"])
def test_the_other_pages_of_the_floor_are_accessible_and_fit(
    signed_in: SignedIn, axe: Axe, case: Case, where: str, width: int
) -> None:
    page = signed_in(cast.technician(), viewport={"width": width, "height": 900})
    page.goto(where)
    axe(page)
    assert page.evaluate(OVERFLOW) == []
    assert page.evaluate(SMALL, 48) == []


def test_the_floor_of_a_case_is_accessible(signed_in: SignedIn, axe: Axe, case: Case) -> None:
    page = signed_in(cast.manager())
    page.goto(f"/cases/{case.number}/floor")
    axe(page)
    page.goto(f"/cases/{case.number}")
    expect(page.get_by_role("heading", name="On the floor")).to_be_visible()
    axe(page)
