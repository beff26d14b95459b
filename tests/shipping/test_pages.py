"""The pages of shipping, as each person meets them."""

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from labqueue.base.models import User
from orders.hold import hold
from orders.models import Case
from shipping import prices
from shipping.models import Delivery, Invoice
from tests import cast
from tests.orders.build import abutment, crown
from tests.production.build import finished_case, piece, released_case
from tests.shipping.build import boxed_case, file_of, packed, paper_of, print_all, shipped

pytestmark = pytest.mark.django_db
HTMX = {"HTTP_HX_REQUEST": "true"}


def signed_in(user: User) -> Client:
    """A browser in which `user` is signed in."""
    client = Client()
    client.force_login(user)
    return client


def get(user: User, name: str, *args: Any, **headers: str) -> tuple[int, str]:
    """Status and text of a page."""
    response = signed_in(user).get(reverse(f"shipping:{name}", args=args), **headers)  # type: ignore[arg-type]
    return response.status_code, response.content.decode()


def queries(user: User, name: str, *args: Any) -> int:
    """How many queries a page costs once the session is there."""
    client = signed_in(user)
    with CaptureQueriesContext(connection) as captured:
        assert client.get(reverse(f"shipping:{name}", args=args)).status_code == 200
    return len(captured)


class TestDesk:
    """The shipping desk."""

    def test_it_lists_what_is_to_be_done(self) -> None:
        ready, waiting, gone = (
            boxed_case(items=[abutment("8")]),
            packed(items=[abutment("9")]),
            shipped(items=[abutment("10")]),
        )
        status, page = get(cast.shipper(), "desk")
        assert status == 200
        to_pack, rest = page.split("Waiting for the courier")
        boxes, left = rest.split("Shipped today")
        assert ready.number in to_pack
        assert "1 of 1" in to_pack
        assert waiting.case.number in boxes
        assert "being printed" in boxes
        assert gone.case.number in left
        assert gone.invoice.number in left
        assert 'value="Harbour Courier"' in boxes

    def test_an_empty_desk_says_so(self) -> None:
        _, page = get(cast.shipper(), "desk")
        for line in ("Nothing to pack", "No box is waiting", "Nothing has left today"):
            assert line in page

    def test_a_case_on_hold_says_why(self) -> None:
        hold(cast.manager(), boxed_case(items=[abutment()]), "Which shade?")
        assert "Which shade?" in get(cast.shipper(), "desk")[1]

    def test_queries_do_not_grow_with_the_lists(self) -> None:
        counts = []
        for tooth in ("8", "9", "10"):
            boxed_case(items=[abutment(tooth)])
            packed(items=[abutment(tooth)])
            shipped(items=[abutment(tooth)])
            counts.append(queries(cast.shipper(), "desk"))
        assert len(set(counts)) == 1, counts

    @pytest.mark.parametrize("who", [cast.prescriber, cast.technician, cast.administrator])
    def test_it_is_for_shipping_and_the_manager(self, who: Any) -> None:
        assert get(who(), "desk")[0] == 403


class TestBox:
    """One box, from the first piece to the courier."""

    def test_the_whole_way(self) -> None:
        prices.load(cast.laboratory())
        case = finished_case()
        client = signed_in(cast.shipper())
        for item in case.work_items.all():
            page = client.post(reverse("shipping:box", args=[case.number]), {"code": item.code}).content.decode()
            assert "In the box</p>" in page
            assert item.code in page
        assert "every piece is in" in page
        packing = client.post(reverse("shipping:pack", args=[case.number]), follow=True)
        assert "is packed" in packing.content.decode()
        facts = {"carrier": "Harbour Courier", "tracking": "HC-1"}
        gone = client.post(reverse("shipping:dispatch", args=[case.number]), facts, follow=True)
        assert "INV-" in gone.content.decode()
        assert gone.redirect_chain[-1][0] == reverse("shipping:desk")
        assert Case.objects.get(pk=case.pk).state == "shipped"
        print_all()
        page = client.get(reverse("shipping:pack", args=[case.number])).content.decode()
        assert reverse("shipping:paper", args=[paper_of(Delivery.objects.get()).pk]) in page
        assert "HC-1" in page

    def test_a_piece_of_another_box_is_refused_in_plain_sight(self) -> None:
        case, other = finished_case(), finished_case(items=[abutment("9"), crown("9")])
        url = reverse("shipping:box", args=[case.number])
        answer = signed_in(cast.shipper()).post(url, {"code": piece(other).code})
        assert answer.status_code == 409
        page = answer.content.decode()
        assert 'role="alert"' in page
        assert "WRONG BOX" in page
        assert "In the box</p>" not in page
        assert page.count("Scan it") == 2

    def test_htmx_gets_only_what_changed(self) -> None:
        case = finished_case()
        url = reverse("shipping:box", args=[case.number])
        page = signed_in(cast.shipper()).post(url, {"code": piece(case).code}, **HTMX).content.decode()  # type: ignore[arg-type]
        assert "<html" not in page
        assert 'id="pieces"' in page
        assert 'hx-swap-oob="true"' in page

    def test_the_box_cannot_be_closed_before_it_is_full(self) -> None:
        case = finished_case()
        client, url = signed_in(cast.shipper()), reverse("shipping:pack", args=[case.number])
        assert "disabled" in client.get(url).content.decode()
        answer = client.post(url)
        assert answer.status_code == 409
        assert "Not in the box yet" in answer.content.decode()
        assert not Delivery.objects.exists()

    def test_who_ships_a_box_that_has_left_is_told_so(self) -> None:
        case = shipped().case
        url = reverse("shipping:dispatch", args=[case.number])
        answer = signed_in(cast.shipper()).post(url, {"carrier": "Harbour Courier"})
        assert answer.status_code == 409
        assert "cannot become" in answer.content.decode()
        assert Invoice.objects.count() == 1

    def test_without_a_carrier_the_box_stays(self) -> None:
        delivery = packed(items=[abutment()])
        answer = signed_in(cast.shipper()).post(
            reverse("shipping:dispatch", args=[delivery.case.number]), {"carrier": ""}
        )
        assert answer.status_code == 422
        assert "Carrier" in answer.content.decode()
        assert not Invoice.objects.exists()

    def test_a_missing_price_is_shown_at_the_form(self) -> None:
        delivery = packed(items=[abutment()])
        url = reverse("shipping:dispatch", args=[delivery.case.number])
        answer = signed_in(cast.shipper()).post(url, {"carrier": "Harbour Courier"})
        assert answer.status_code == 409
        assert "There is no price in USD" in answer.content.decode()
        assert not Invoice.objects.exists()

    def test_a_case_on_the_floor_says_where_its_pieces_are(self) -> None:
        case = released_case()
        status, page = get(cast.shipper(), "pack", case.number)
        assert status == 200
        assert "Intake" in page
        assert "Close the box" not in page

    def test_an_unknown_case_is_not_found(self) -> None:
        assert get(cast.shipper(), "pack", "9999999")[0] == 404

    def test_queries_do_not_grow_with_the_box(self) -> None:
        small = boxed_case(items=[abutment("8")])
        large = boxed_case(items=[abutment("9"), crown("9"), abutment("10"), crown("10")])
        assert queries(cast.shipper(), "pack", small.number) == queries(cast.shipper(), "pack", large.number)


def test_the_box_says_what_the_law_wants_beside_the_device(client: Client) -> None:
    case = boxed_case()
    client.force_login(cast.shipper())
    page = client.get(f"/shipping/{case.number}/pack").content.decode()
    assert "What goes back with the device, by the rules of all places together" in page
    assert "custom-made device" in page


class TestPapers:
    """The papers of a case, for who may see the case."""

    def test_the_practice_downloads_its_papers(self) -> None:
        delivery = shipped(items=[abutment()])
        print_all()
        client = signed_in(cast.assistant())
        for kind in ("slip", "invoice"):
            paper = paper_of(delivery, kind)
            answer = client.get(reverse("shipping:paper", args=[paper.pk]))
            assert b"".join(answer) == file_of(paper)
            assert answer["Content-Type"] == "application/pdf"
            assert answer["X-Content-Type-Options"] == "nosniff"
            assert answer["Content-Disposition"] == f'attachment; filename="{kind}-{delivery.case.number}.pdf"'
            assert answer["Cache-Control"] == "no-store"

    def test_nothing_of_the_patient_is_in_an_address_or_file_name(self) -> None:
        delivery = packed(items=[abutment()])
        print_all()
        paper = paper_of(delivery)
        answer = signed_in(cast.shipper()).get(reverse("shipping:paper", args=[paper.pk]))
        patient = delivery.case.patient_ref
        assert patient not in reverse("shipping:paper", args=[paper.pk]) + paper.file + answer["Content-Disposition"]

    def test_another_practice_finds_nothing(self) -> None:
        delivery = packed(items=[abutment()])
        print_all()
        stranger = cast.prescriber("southgate")
        assert get(stranger, "paper", paper_of(delivery).pk)[0] == 404
        assert get(stranger, "paper", 999_999)[0] == 404
        assert get(stranger, "papers", delivery.case.number)[0] == 404

    @pytest.mark.parametrize("who", [cast.technician, cast.manager, cast.shipper, cast.administrator])
    def test_everybody_of_the_laboratory_may_see_them(self, who: Any) -> None:
        delivery = packed(items=[abutment()])
        print_all()
        assert signed_in(who()).get(reverse("shipping:paper", args=[paper_of(delivery).pk])).status_code == 200

    def test_while_a_paper_is_made_the_page_says_so_and_asks_again(self) -> None:
        delivery = packed(items=[abutment()])
        status, page = get(cast.prescriber(), "paper", paper_of(delivery).pk)
        assert status == 202
        assert "Being printed" in page
        assert 'hx-trigger="every 2s"' in page
        print_all()
        _, part = get(cast.prescriber(), "papers", delivery.case.number, **HTMX)
        assert "hx-trigger" not in part
        assert reverse("shipping:paper", args=[paper_of(delivery).pk]) in part
        assert "<html" not in part

    def test_before_packing_there_are_none(self) -> None:
        assert "No papers yet" in get(cast.prescriber(), "papers", released_case().number)[1]

    def test_nobody_signed_in_is_sent_to_the_sign_in(self) -> None:
        delivery = packed(items=[abutment()])
        answer = Client().get(reverse("shipping:paper", args=[paper_of(delivery).pk]))
        assert answer.status_code == 302
        assert answer["Location"].startswith(reverse("sign-in"))


class TestInvoices:
    """The list of invoices."""

    def test_a_practice_sees_its_own(self) -> None:
        delivery = shipped(items=[abutment()])
        mine, theirs = get(cast.prescriber(), "invoices")[1], get(cast.prescriber("southgate"), "invoices")[1]
        assert delivery.invoice.number in mine
        assert "244.00 USD" in mine
        assert delivery.invoice.number not in theirs
        assert "No invoices yet" in theirs

    def test_the_desk_sees_all_with_their_practice(self) -> None:
        delivery = shipped(items=[abutment()])
        print_all()
        _, page = get(cast.manager(), "invoices")
        assert "Northgate Dental" in page
        assert reverse("shipping:paper", args=[paper_of(delivery, "invoice").pk]) in page

    def test_queries_do_not_grow_with_the_list(self) -> None:
        counts = []
        for tooth in ("8", "9"):
            shipped(items=[abutment(tooth)])
            counts.append(queries(cast.manager(), "invoices"))
        assert counts[0] == counts[1]

    def test_technicians_have_no_business_there(self) -> None:
        assert get(cast.technician(), "invoices")[0] == 403
