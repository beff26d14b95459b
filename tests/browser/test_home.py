"""The first page of each role in a real browser, with work on it: accessible, on a desk and on a phone."""

from collections.abc import Callable
from datetime import timedelta

import pytest
import time_machine
from django.utils import timezone
from playwright.sync_api import Page, expect

from labqueue.base.models import OutboxRow, User
from labqueue.base.roles import Role
from orders.hold import hold
from orders.models import Case
from orders.signoff import amend
from tests import cast
from tests.harness.browser import Console
from tests.orders import build as orders
from tests.production import build as floor
from tests.shipping import build as shipping
from tests.top.firstpage import PEOPLE, forecast, foresee

pytestmark = pytest.mark.django_db(transaction=True)

SignedIn = Callable[..., Page]
Axe = Callable[[Page], None]
# On a desk and on a phone, by day and by night.
LOOKS = (("light", 1280), ("dark", 390))


@pytest.fixture
def busy(transactional_db: None) -> Case:
    """A house in which every list of every first page has something; the case that is late likely."""
    orders.draft_case(patient_ref="A-1")
    orders.signed_case(patient_ref="B-2")
    amend(cast.prescriber(), orders.accepted_case(patient_ref="C-3"))
    with time_machine.travel(timezone.now() - timedelta(days=3), tick=False):
        hold(cast.manager(), orders.accepted_case(patient_ref="D-4"), "Bite record missing")
    floor.finished_case(patient_ref="E-5")
    shipping.packed(patient_ref="F-6")
    shipping.shipped(patient_ref="G-7")
    late = foresee(floor.released_case(patient_ref="H-8"), 0.71)
    floor.send(floor.piece(late), "intake")
    forecast(timedelta(minutes=2))
    failed = {"kind": "paper", "subject": "paper:1", "error": "The disk is full."}
    OutboxRow.objects.create(state="dead", due_at=timezone.now(), finished_at=timezone.now(), **failed)
    return late


def opened(signed_in: SignedIn, user: User, **options: object) -> Page:
    """The first page, once everything that it asks for by itself is there."""
    page = signed_in(user, **options)
    page.goto("/")
    page.wait_for_load_state("networkidle")
    return page


@pytest.mark.parametrize("role", list(Role))
def test_first_pages_break_no_rule_of_accessibility(busy: Case, signed_in: SignedIn, axe: Axe, role: Role) -> None:
    for scheme, width in LOOKS:
        page = opened(signed_in, PEOPLE[role](), color_scheme=scheme, viewport={"width": width, "height": 900})
        axe(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        expect(page.get_by_role("link", name="Today", exact=True)).to_have_attribute("aria-current", "page")


@pytest.mark.parametrize("role", list(Role))
def test_first_pages_of_an_empty_house_break_no_rule_either(signed_in: SignedIn, axe: Axe, role: Role) -> None:
    axe(opened(signed_in, PEOPLE[role]()))


def test_where_work_waits_comes_by_itself_and_stays_up_to_date(busy: Case, signed_in: SignedIn) -> None:
    page = signed_in(cast.manager())
    page.clock.install()
    page.goto("/")
    waits = page.get_by_role("region", name="Where work waits")
    expect(waits).to_contain_text("simulated futures, 2 min ago")
    forecast(timedelta(minutes=1))
    with page.expect_response("**/planning/bottlenecks"):
        page.clock.fast_forward(31_000)
    expect(waits).to_contain_text("simulated futures, 1 min ago")


def test_the_page_stays_up_to_date_and_keeps_what_came_by_itself(busy: Case, signed_in: SignedIn) -> None:
    page = signed_in(cast.manager())
    page.clock.install()
    page.goto("/")
    waits = page.get_by_role("region", name="Where work waits")
    expect(waits).to_contain_text("simulated futures")
    signed = page.locator(".tile", has_text="Waiting to be accepted")
    expect(signed).to_contain_text("1")
    orders.signed_case()
    with page.expect_response(page.url):
        page.clock.fast_forward(61_000)
    expect(signed).to_contain_text("2")
    expect(waits).to_contain_text("simulated futures")


def test_without_a_script_there_is_a_link_to_where_work_waits(busy: Case, signed_in: SignedIn) -> None:
    page = opened(signed_in, cast.manager(), java_script_enabled=False)
    page.get_by_role("region", name="Where work waits").get_by_role("link").click()
    assert page.url.endswith("/planning/stations")


def test_the_manager_comes_from_a_number_to_its_list_and_to_the_case(busy: Case, signed_in: SignedIn) -> None:
    page = opened(signed_in, cast.manager())
    page.locator(".tile", has_text="Late or at risk").get_by_role("link").click()
    assert page.url.endswith("#danger")
    row = page.get_by_role("region", name="Late or at risk").get_by_role("row", name=busy.number)
    expect(row).to_contain_text("71 %")
    row.get_by_role("link", name=busy.number).click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(busy.number)


def test_the_manager_comes_from_a_call_to_the_conversation(busy: Case, signed_in: SignedIn) -> None:
    page = opened(signed_in, cast.manager())
    call = page.get_by_role("region", name="To be called").get_by_role("row", name="Bite record missing")
    expect(call.get_by_role("link", name="555 0100")).to_have_attribute("href", "tel:5550100")
    call.get_by_role("link").first.click()
    page.wait_for_url("**#talk")
    expect(page.get_by_role("region", name="Conversation")).to_contain_text("Bite record missing")


def test_the_technician_comes_to_the_bench_by_the_keyboard(busy: Case, signed_in: SignedIn) -> None:
    page = opened(signed_in, cast.technician())
    page.locator(".tile", has_text="Design").get_by_role("link").focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/bench/design")
    expect(page.get_by_role("link", name="Benches", exact=True)).to_have_attribute("aria-current", "page")


def test_a_key_is_made_shown_once_and_revoked(signed_in: SignedIn, axe: Axe) -> None:
    page = signed_in(cast.prescriber())
    page.goto("/keys")
    page.get_by_label("Name of the program").fill("Practice program")
    page.keyboard.press("Enter")
    expect(page.get_by_role("region", name="Your new key")).to_contain_text("lq_")
    axe(page)
    page.goto("/keys")
    expect(page.locator("main")).not_to_contain_text("lq_")
    page.locator("summary", has_text="Revoke").click()
    page.get_by_role("button", name="Yes, revoke it").click()
    expect(page.locator("#notice")).to_contain_text("The key Practice program opens nothing any more.")
    expect(page.locator("main")).to_contain_text("No keys yet")
    axe(page)


def test_a_key_without_a_fitting_name_leads_to_its_field(
    signed_in: SignedIn, axe: Axe, console_errors: Console
) -> None:
    page = signed_in(cast.prescriber())
    page.goto("/keys")
    page.get_by_label("Name of the program").fill("x" * 81)
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("at most 80 characters")
    axe(page)
    page.get_by_role("alert").get_by_role("link").click()
    assert page.evaluate("document.activeElement.name") == "name"
    console_errors.expect("422")
