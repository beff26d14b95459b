"""The pages of the floor, without JavaScript and as htmx asks for them."""

import re
from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from labqueue.base.models import User
from labqueue.production.forms import split_line
from labqueue.production.models import LotInUse, Scan, WorkItem
from labqueue.production.stop import stop
from orders.cancel import cancel
from orders.hold import hold
from orders.intake import edit_draft
from orders.models import Case, Outlook
from orders.outlook import record
from orders.signoff import amend, sign
from tests import cast
from tests.orders import build as orders
from tests.production.build import finished_case, piece, released_case, scan_through, shop

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}


def client(user: User | None = None) -> Client:
    """A browser in which that person is signed in."""
    found = Client()
    found.force_login(user or cast.technician())
    return found


def text(response: Any) -> str:
    """The page without its tags, with single spaces."""
    return " ".join(re.sub(r"<[^>]*>", " ", response.content.decode()).split())


def key_on(response: Any) -> str:
    """The key in the form of a page."""
    found = re.search(r'name="key"[^>]*value="([0-9a-f-]+)"', response.content.decode())
    assert found is not None
    return found[1]


def send(browser: Client, station: str, line: str, key: str = "", **extra: Any) -> Any:
    """One line from a scanner."""
    return browser.post(f"/bench/{station}/scan", {"line": line, "key": key or str(uuid4())}, **extra)


def test_all_stations_are_listed_with_their_work() -> None:
    released_case()
    page = text(client().get("/bench"))
    assert "Intake 2 0" in page
    assert "Quality check 0 0" in page


def test_without_stations_the_list_says_so() -> None:
    assert "No stations yet" in text(client().get("/bench"))


def test_the_bench_has_one_focused_field_and_keeps_the_screen_keyboard_shut() -> None:
    released_case()
    page = client().get("/bench/intake").content.decode()
    assert page.count("autofocus") == 1
    assert 'inputmode="none"' in page


def test_who_has_no_scanner_can_ask_for_the_screen_keyboard() -> None:
    released_case()
    assert 'inputmode="text"' in client().get("/bench/intake?keyboard").content.decode()


def test_every_page_brings_a_fresh_key() -> None:
    released_case()
    browser = client()
    assert key_on(browser.get("/bench/intake")) != key_on(browser.get("/bench/intake"))


def test_an_unknown_station_is_not_found() -> None:
    response = client().get("/bench/kitchen")
    assert response.status_code == 404
    assert "There is no station “kitchen”" in text(response)


def test_a_line_is_scanned_and_the_result_shown_in_one_glance() -> None:
    case = released_case()
    record([Outlook(case=case, late=0.31, made_at=timezone.now())])
    browser, item = client(), piece(case)
    response = send(browser, "intake", item.code)
    assert response.status_code == 302
    page = text(browser.get(response["Location"]))
    assert "Started: intake" in page
    for part in (case.number, "upper right central incisor", "Universal, FDI 11", "Zirconia 4Y, shade N2"):
        assert part in page
    assert "Then Design" in page
    assert "31 %" in page


def test_a_reload_of_the_result_counts_nothing() -> None:
    case = released_case()
    browser = client()
    where = send(browser, "intake", piece(case).code)["Location"]
    before = Scan.objects.count()
    assert "Started: intake" in text(browser.get(where))
    assert "Started: intake" in text(browser.get(where))
    assert Scan.objects.count() == before == 1


def test_the_same_form_sent_twice_counts_once_and_says_so() -> None:
    case = released_case()
    browser = client()
    key = key_on(browser.get("/bench/intake"))
    send(browser, "intake", piece(case).code, key)
    response = send(browser, "intake", piece(case).code, key)
    assert "counted before" in text(browser.get(response["Location"]))
    assert Scan.objects.count() == 1


def test_the_result_of_another_station_is_not_shown() -> None:
    case = released_case()
    browser = client()
    where = send(browser, "intake", piece(case).code)["Location"]
    assert "Started:" not in text(browser.get(where.replace("/intake", "/design")))
    assert "Started:" not in text(browser.get("/bench/intake?scan=nonsense"))


def test_a_line_may_say_its_action() -> None:
    case = released_case()
    browser, item = client(), piece(case)
    send(browser, "intake", f"{item.code} START")
    send(browser, "intake", f"{item.code[:5]} {item.code[5:]} done")
    assert list(Scan.objects.order_by("pk").values_list("action", flat=True)) == ["start", "done"]


@pytest.mark.parametrize(
    ("line", "parts"),
    [
        ("2600001022", ("2600001022", None)),
        (" 2600001022  Start ", ("2600001022", "start")),
        ("26000 01022 done", ("26000 01022", "done")),
        ("done", ("", "done")),
        ("", ("", None)),
        ("2600001022 scrap", ("2600001022 scrap", None)),
    ],
)
def test_how_a_line_is_read(line: str, parts: tuple[str, str | None]) -> None:
    assert split_line(line) == parts


def refused(station: str, line: str, status: int, key: str = "") -> str:
    """The page of a refused line: an alert, the field again, and nothing written."""
    response = send(client(), station, line, key)
    assert response.status_code == status
    page = response.content.decode()
    assert 'role="alert"' in page
    assert "autofocus" in page
    assert not Scan.objects.exists()
    return text(response)


def test_a_station_that_is_not_next_is_refused_with_what_would_be_right() -> None:
    item = piece(released_case())
    page = refused("milling", item.code, 409)
    assert f"{item} goes next to Intake, not Dry milling." in page
    assert f"Read: {item.code}" in page


def test_a_misread_line_is_refused_and_shown() -> None:
    released_case()
    assert "Read: HT-20418" in refused("intake", "HT-20418", 422)


def test_a_line_without_a_key_is_refused() -> None:
    item = piece(released_case())
    assert "Open the station again" in refused("intake", item.code, 422, key="none")


def test_what_was_typed_is_shown_as_text() -> None:
    released_case()
    response = send(client(), "intake", "<script>alert(1)</script>")
    assert b"<script>alert" not in response.content


def test_to_htmx_a_line_is_answered_with_the_parts_that_changed() -> None:
    case = released_case()
    response = send(client(), "intake", piece(case).code, headers=HTMX)
    page = response.content.decode()
    assert response.status_code == 200
    assert "<html" not in page
    assert "Started: intake" in text(response)
    for part in ("queue", "scan-key", "notice"):
        assert re.search(rf'id="{part}"[^>]*hx-swap-oob', page), part


def test_to_htmx_a_refusal_is_the_same_part() -> None:
    item = piece(released_case())
    response = send(client(), "milling", item.code, headers=HTMX)
    assert response.status_code == 409
    assert "<html" not in response.content.decode()
    assert "goes next to Intake" in text(response)


def test_the_queue_shows_held_pieces_apart() -> None:
    held = released_case(items=[orders.screw_crown()], seat_at=orders.seat_in(10))
    free = released_case(items=[orders.screw_crown()])
    hold(cast.manager(), held, "Which shade?")
    page = text(client().get("/bench/intake/queue", headers=HTMX))
    assert page.index(free.number) < page.index("Not now") < page.index(held.number)
    assert "On hold: Which shade?" in page


def test_the_queue_alone_is_also_a_page() -> None:
    shop()
    response = client().get("/bench/intake/queue")
    assert "<html" in response.content.decode()
    assert "Nothing here now" in text(response)


def test_the_bench_takes_as_many_queries_for_many_as_for_one() -> None:
    browser = client()

    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            assert browser.get("/bench/intake").status_code == 200
        return len(caught)

    released_case()
    one = queries()
    for days in (12, 14):
        record([Outlook(case=released_case(seat_at=orders.seat_in(days)), late=0.1, made_at=timezone.now())])
    assert queries() == one


def test_a_lot_is_put_into_use_on_the_bench() -> None:
    shop(lots=False)
    browser = client()
    assert "None in use" in text(browser.get("/bench/milling"))
    response = browser.post("/bench/milling/lot", {"what": "pmma", "number": "HT-20418"}, follow=True)
    assert "Halden Temp Disc, lot HT-20418 is in use at Dry milling." in text(response)
    assert LotInUse.objects.get().lot.number == "HT-20418"


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ({"what": "pmma", "number": "N-1"}, "is new here: give its product name"),
        ({"what": "pmma", "number": "N-1", "product": "Old", "expires": "2020-01-31"}, "expired on 2020-01-31"),
        ({"what": "titanium", "number": "CT-55210"}, "Select a valid choice"),
        ({"what": "pmma", "number": ""}, "This field is required"),
    ],
)
def test_a_refused_lot_is_shown_in_its_form(given: dict[str, str], sentence: str) -> None:
    shop(lots=False)
    response = client().post("/bench/milling/lot", given)
    assert response.status_code == 422
    assert sentence in text(response)
    assert not LotInUse.objects.exists()


def test_the_manager_releases_a_case_from_its_floor() -> None:
    shop()
    case = orders.confirmed_case()
    browser = client(cast.manager())
    assert "Release to the floor" in text(browser.get(f"/cases/{case.number}/floor"))
    response = browser.post(f"/cases/{case.number}/release")
    assert response["Location"] == f"/cases/{case.number}"
    assert Case.objects.get().state == "released"
    assert WorkItem.objects.count() == 2


def test_a_refused_release_is_a_page_that_says_why() -> None:
    shop()
    case = orders.signed_case()
    response = client(cast.manager()).post(f"/cases/{case.number}/release")
    assert response.status_code == 409
    assert "Only an accepted case is released" in text(response)
    assert not WorkItem.objects.exists()


def test_only_the_manager_is_offered_the_release() -> None:
    shop()
    case = orders.confirmed_case()
    assert "Release to the floor" not in text(client().get(f"/cases/{case.number}/floor"))
    assert client().post(f"/cases/{case.number}/release").status_code == 403


def test_the_floor_of_a_case_shows_how_far_its_pieces_are() -> None:
    case = released_case()
    scan_through(piece(case), until="design")
    page = text(client(cast.prescriber()).get(f"/cases/{case.number}/floor"))
    assert "1 of 7 steps Waits at Design" in page
    assert "0 of 7 steps Waits at Intake" in page


def test_a_packed_piece_shows_as_packed() -> None:
    case = finished_case(items=[orders.screw_crown()])
    scan_through(case.work_items.get())
    assert "8 of 8 steps Packed" in text(client().get(f"/cases/{case.number}/floor"))


def test_after_an_amendment_the_floor_says_that_it_waits() -> None:
    case, doctor = released_case(), cast.prescriber()
    amend(doctor, case)
    items = [orders.abutment(), orders.crown(shade="D1")]
    edit_draft(doctor, case, **orders.order(patient_ref=case.patient_ref, items=items))
    sign(doctor, case)
    where = f"/cases/{case.number}/floor"
    assert "Waits for the release of the new version" in text(client().get(where))
    assert "Release the new version" in text(client(cast.manager()).get(where))


def test_the_floor_is_a_part_to_htmx_and_foreign_cases_do_not_exist() -> None:
    case = released_case()
    where = f"/cases/{case.number}/floor"
    assert "<html" not in client().get(where, headers=HTMX).content.decode()
    assert client(cast.prescriber("southbank")).get(where).status_code == 404


@pytest.mark.parametrize("made", [orders.signed_case, orders.accepted_case])
def test_before_the_release_the_floor_says_so(made: Callable[[], Case]) -> None:
    where = f"/cases/{made().number}/floor"
    for reader in (cast.prescriber(), cast.technician(), cast.manager()):
        assert "Not released to the floor yet" in text(client(reader).get(where))


def test_the_floor_of_a_cancelled_case_says_so_and_offers_no_release() -> None:
    early = cancel(cast.prescriber(), orders.accepted_case(), "No longer wanted")
    assert "cancelled before it came to the floor" in text(client().get(f"/cases/{early.number}/floor"))
    case, doctor = released_case(), cast.prescriber()
    amend(doctor, case)
    items = [orders.abutment(), orders.crown(shade="D1")]
    edit_draft(doctor, case, **orders.order(patient_ref=case.patient_ref, items=items))
    sign(doctor, case)
    stop(cast.manager(), case, "No longer wanted")
    page = text(client(cast.manager()).get(f"/cases/{case.number}/floor"))
    assert "This case was stopped. Take its pieces off the floor" in page
    assert "Release" not in page
