"""The whole journey by hand: four people in four browsers, with a real worker behind the service."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from labqueue.production import setup
from labqueue.production.lots import use_lot
from labqueue.production.models import Scan, Station, WorkItem
from orders.models import Case
from shipping import prices
from shipping.models import Invoice
from tests import cast
from tests.browser.test_orders_form import fill
from tests.harness.browser import Console
from tests.harness.worker import Worker

pytestmark = pytest.mark.django_db(transaction=True)

SignedIn = Callable[..., Page]
Axe = Callable[[Page], None]
LOTS = {"wet-milling": "titanium", "milling": "zirconia_4y", "packing": "screw"}


@pytest.fixture
def laboratory(worker: Worker) -> None:
    """Stations, prices and lots, and a worker that forecasts and prints."""
    setup.load(cast.laboratory())
    prices.load(cast.laboratory())
    for station, what in LOTS.items():
        number = next(lot["number"] for lot in cast.laboratory()["lots"] if lot["what"] == what)
        use_lot(cast.technician(), Station.objects.get(code=station), what=what, number=number)


def test_four_people_bring_a_case_from_order_to_invoice(
    laboratory: None, signed_in: SignedIn, axe: Axe, console_errors: Console
) -> None:
    """Practice, manager, technician, shipping: each with that person's own pages only."""
    doctor, manager = signed_in(cast.prescriber()), signed_in(cast.manager())
    number = order(doctor, axe)
    take_on(manager, number)
    technician = signed_in(cast.technician())
    read_again(technician, number, axe)
    console_errors.expect("422")
    lay_out(manager, number, axe)
    make(technician, number, axe)
    send(signed_in(cast.shipper()), number, axe)
    receive(doctor, number)
    see_the_end(manager, number)


def order(page: Page, axe: Axe) -> str:
    """The prescriber orders an abutment and its crown, reads the draft and signs it."""
    page.goto("/")
    page.get_by_role("link", name="New order").first.click()
    fill(page)
    page.get_by_label("Patient reference").fill("KO2041")
    page.get_by_label("Seat appointment, day").fill(f"{timezone.localdate() + timedelta(days=35):%Y-%m-%d}")
    page.get_by_role("button", name="Save the draft").click()
    expect(page.locator("main")).to_contain_text("upper right central incisor")
    axe(page)
    page.locator("main").get_by_role("button", name="Sign").first.click()
    expect(page.locator("main")).to_contain_text("Signed")
    return Case.objects.get().number


def take_on(page: Page, number: str) -> None:
    """The manager finds the case on the first page and accepts it."""
    page.goto("/")
    page.get_by_role("link", name=number).first.click()
    page.get_by_role("button", name="Accept").first.click()
    expect(page.locator("main")).to_contain_text("somebody else reads again")


def read_again(page: Page, number: str, axe: Axe) -> None:
    """A second person reads the label of the implant; what was misread is refused at its field."""
    page.goto(f"/cases/{number}")
    implant = page.get_by_role("region", name="The implant, read a second time")
    implant.get_by_label("Implant system").fill("Averin C")
    implant.get_by_label("Connection").select_option("conical")
    implant.get_by_label("Platform, mm").fill("4.8")
    implant.get_by_label("Level").select_option("bone")
    implant.get_by_label("Label of the implant", exact=True).check()
    implant.get_by_role("button", name="Confirm what I read").click()
    expect(page.get_by_role("alert")).to_contain_text("V06: The platform was read as “4.8 mm”, ordered is “4.3 mm”.")
    axe(page)
    page.get_by_label("Platform, mm").fill("4.3")
    page.get_by_role("button", name="Confirm what I read").click()
    expect(page.locator("main")).to_contain_text("Confirmed by Tessa Test")


def lay_out(page: Page, number: str, axe: Axe) -> None:
    """The manager releases the case to the floor."""
    page.goto(f"/cases/{number}")
    page.get_by_role("button", name="Release").first.click()
    expect(page.locator("main")).to_contain_text("On the floor")
    expect(page.locator("#outlook, main")).to_contain_text("estimate", timeout=90_000, ignore_case=True)
    page.goto("/")
    axe(page)


def make(page: Page, number: str, axe: Axe) -> None:
    """The technician scans each piece at each bench with a scanner, which types and presses Enter."""
    abutment, crown = WorkItem.objects.filter(case__number=number).order_by("line")
    page.goto("/bench/intake")
    axe(page)
    scan_through(page, abutment, ["intake", "model", "design", "wet-milling", "finishing"])
    scan_through(page, crown, ["intake", "design", "milling", "sintering", "finishing", "quality"])
    scan_through(page, abutment, ["quality"])
    assert Case.objects.get(number=number).state == "finished"


def scan_through(page: Page, piece: WorkItem, benches: list[str]) -> None:
    """Start and end a piece at each bench."""
    for bench in benches:
        page.goto(f"/bench/{bench}")
        for action in ("start", "done"):
            page.keyboard.type(f"{piece.code} {action}")
            page.keyboard.press("Enter")
            expect(page.locator("#scanned")).to_contain_text(piece.code)
            expect(page.locator("#scanned [role=alert]")).to_have_count(0)
            expect(page.locator("#scanned")).to_contain_text("Started" if action == "start" else "Done")


def send(page: Page, number: str, axe: Axe) -> None:
    """Shipping scans both pieces into the box, closes it and hands it to the courier."""
    page.goto("/")
    page.get_by_role("link", name="Shipping desk").click()
    page.goto(f"/shipping/{number}/pack")
    for piece in WorkItem.objects.filter(case__number=number).order_by("line"):
        page.keyboard.type(piece.code)
        page.keyboard.press("Enter")
        expect(page.locator("#scanned")).to_contain_text(piece.code)
    page.get_by_role("button", name="Close the box").click()
    expect(page.get_by_role("link", name="Case slip")).to_be_visible(timeout=90_000)
    axe(page)
    page.get_by_label("Carrier").fill("Harbour Courier")
    page.keyboard.press("Enter")
    expect(page.locator("#notice")).to_contain_text("has left with Harbour Courier")


def receive(page: Page, number: str) -> None:
    """The practice sees that it was sent, and downloads slip and invoice."""
    page.goto(f"/cases/{number}")
    expect(page.locator("main")).to_contain_text("Shipped")
    invoice = Invoice.objects.get().number
    page.goto("/invoices")
    expect(page.locator("main")).to_contain_text(invoice)
    page.goto(f"/cases/{number}/papers")
    for name in ("Case slip", "Invoice"):
        link = page.locator("main").get_by_role("link", name=name).first
        expect(link).to_be_visible(timeout=90_000)
        with page.expect_download() as download:
            link.click()
        assert download.value.path().read_bytes().startswith(b"%PDF-")


def see_the_end(page: Page, number: str) -> None:
    """The manager's lists are empty again, and every scan is kept."""
    page.goto("/")
    expect(page.locator("main")).to_contain_text("Nothing to accept")
    assert Case.objects.get(number=number).state == "shipped"
    assert Scan.objects.count() == 28
