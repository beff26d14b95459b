"""The interface of shipping for programs."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from labqueue.base.api import issue_token
from labqueue.base.models import User
from orders.models import Case
from shipping import prices
from shipping.models import Delivery, Invoice
from tests import cast
from tests.orders.build import abutment
from tests.production.build import finished_case
from tests.shipping.build import boxed_case, file_of, packed, paper_of, print_all, shipped

pytestmark = pytest.mark.django_db


def client_of(user: User) -> APIClient:
    """A program with a token of that person."""
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {issue_token(user, 'test')}")
    return client


def send(user: User, path: str, data: dict[str, Any] | None = None) -> tuple[int, Any]:
    """Status and document of a POST."""
    answer = client_of(user).post(f"/api/v1/{path}", data or {}, format="json")
    return answer.status_code, answer.json()


def get(user: User, path: str) -> tuple[int, Any]:
    """Status and document of a GET."""
    answer = client_of(user).get(f"/api/v1/{path}")
    return answer.status_code, answer.json()


def test_a_case_is_packed_and_shipped() -> None:
    prices.load(cast.laboratory())
    case = boxed_case(items=[abutment()])
    status, box = send(cast.shipper(), f"cases/{case.number}/pack")
    assert (status, box["case"], box["state"], box["invoice"]) == (201, case.number, "packed", None)
    status, box = send(cast.shipper(), f"cases/{case.number}/dispatch", {"carrier": "Harbour Courier", "tracking": "7"})
    assert (status, box["state"], box["carrier"], box["tracking"]) == (200, "shipped", "Harbour Courier", "7")
    assert box["invoice"] == Invoice.objects.get().number


@pytest.mark.parametrize("verb", ["pack", "dispatch"])
def test_practices_and_technicians_neither_pack_nor_ship(verb: str) -> None:
    case = boxed_case(items=[abutment()])
    for who in (cast.prescriber(), cast.technician()):
        assert send(who, f"cases/{case.number}/{verb}", {"carrier": "x"})[0] == 403
    assert Case.objects.get(pk=case.pk).state == "finished"


def test_what_is_not_in_the_box_is_named() -> None:
    case = finished_case(items=[abutment()])
    status, problem = send(cast.shipper(), f"cases/{case.number}/pack")
    assert (status, problem["errors"][0]["code"]) == (409, "box")
    assert case.work_items.get().code in problem["detail"]
    assert not Delivery.objects.exists()


def test_a_missing_carrier_is_named() -> None:
    delivery = packed(items=[abutment()])
    status, problem = send(cast.shipper(), f"cases/{delivery.case.number}/dispatch")
    assert (status, problem["errors"][0]["pointer"]) == (400, "/carrier")
    assert not Invoice.objects.exists()


def test_a_second_dispatch_is_a_conflict() -> None:
    delivery = shipped(items=[abutment()])
    status, _ = send(cast.shipper(), f"cases/{delivery.case.number}/dispatch", {"carrier": "x"})
    assert (status, Invoice.objects.count()) == (409, 1)


def test_papers_say_whether_they_are_ready() -> None:
    delivery = shipped(items=[abutment()])
    path = f"cases/{delivery.case.number}/papers"
    _, before = get(cast.prescriber(), path)
    assert [(paper["kind"], paper["ready"], paper["file"]) for paper in before] == [
        ("slip", False, None),
        ("invoice", False, None),
    ]
    print_all()
    _, (slip, _) = get(cast.prescriber(), path)
    paper = paper_of(delivery)
    assert (slip["ready"], slip["size"], slip["sha256"]) == (True, paper.size, paper.sha256)
    assert slip["file"] == f"/api/v1/papers/{paper.pk}/file"
    assert get(cast.prescriber(), f"papers/{paper.pk}") == (200, slip)


@pytest.mark.parametrize("accept", ["application/pdf", "application/json", "*/*"])
def test_the_file_is_handed_out_whatever_is_accepted(accept: str) -> None:
    paper = paper_of(packed(items=[abutment()]))
    client = client_of(cast.prescriber())
    waiting = client.get(f"/api/v1/papers/{paper.pk}/file", HTTP_ACCEPT=accept)
    assert waiting.status_code == 409
    assert waiting.json()["errors"][0]["code"] == "making"
    assert waiting["Content-Type"] == "application/problem+json"
    print_all()
    paper.refresh_from_db()
    answer = client.get(f"/api/v1/papers/{paper.pk}/file", HTTP_ACCEPT=accept)
    assert answer["Content-Type"] == "application/pdf"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert b"".join(answer) == file_of(paper)


@pytest.mark.parametrize("path", ["papers/{paper}", "papers/{paper}/file", "cases/{case}/papers"])
def test_a_foreign_paper_does_not_exist(path: str) -> None:
    delivery = packed(items=[abutment()])
    print_all()
    stranger = cast.prescriber("southgate")
    address = path.format(paper=paper_of(delivery).pk, case=delivery.case.number)
    assert get(cast.prescriber(), address.removesuffix("/file"))[0] == 200
    assert get(stranger, address)[0] == 404


def test_invoices_are_listed_newest_first() -> None:
    first, second = shipped(items=[abutment("8")]), shipped(items=[abutment("9")])
    _, page = get(cast.prescriber(), "invoices")
    assert [row["number"] for row in page["results"]] == [second.invoice.number, first.invoice.number]
    row = page["results"][0]
    assert (row["case"], row["practice"], row["gross_minor"]) == (second.case.number, "northgate", 24_400)
    assert [line["net_minor"] for line in row["lines"]] == [21_000, 2_500, 900]
    assert row["paper"] == paper_of(second, "invoice").pk
    assert get(cast.prescriber("southgate"), "invoices")[1]["results"] == []


def test_the_list_of_invoices_costs_the_same_however_long(django_assert_num_queries: Any) -> None:
    client = client_of(cast.manager())
    for tooth in ("8", "9"):
        shipped(items=[abutment(tooth)])
        client.get("/api/v1/invoices")
        with django_assert_num_queries(4):
            client.get("/api/v1/invoices")


def test_technicians_get_no_invoices() -> None:
    assert get(cast.technician(), "invoices")[0] == 403
