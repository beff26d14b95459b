"""Making papers: after the commit, once, from the frozen facts, and the same file whenever it is made again."""

import hashlib

import pytest
from django.db import DatabaseError, transaction
from django.test import Client
from django.utils import timezone

from labqueue.base import outbox
from labqueue.base.models import OutboxRow
from shipping.models import Delivery, Paper
from shipping.tasks import ask_for, make, render
from tests import cast
from tests.base import pdf_reader
from tests.orders.build import abutment
from tests.shipping.build import file_of, packed, paper_of, print_all, shipped

pytestmark = pytest.mark.django_db


def test_papers_are_made_and_kept() -> None:
    delivery = shipped(items=[abutment()])
    assert not Paper.objects.filter(made_at__isnull=False).exists()
    print_all()
    for kind, title in (("slip", "Case slip"), ("invoice", "Invoice")):
        paper = paper_of(delivery, kind)
        data = file_of(paper)
        assert paper.ready
        assert (paper.sha256, paper.size) == (hashlib.sha256(data).hexdigest(), len(data))
        assert title in pdf_reader.title(data)
    assert not OutboxRow.objects.filter(kind="paper").exclude(state="done").exists()


def test_a_paper_made_again_is_the_stored_file() -> None:
    delivery = packed(items=[abutment()])
    print_all()
    assert render(paper_of(delivery)) == file_of(paper_of(delivery))


def test_asked_for_twice_it_is_made_once() -> None:
    delivery = packed(items=[abutment()])
    print_all()
    before = Paper.objects.values().get(delivery=delivery)
    ask_for(paper_of(delivery))
    print_all()
    assert Paper.objects.values().get(delivery=delivery) == before


def test_who_comes_second_changes_nothing() -> None:
    delivery = packed(items=[abutment()])
    row = OutboxRow.objects.get(kind="paper")
    first, second = make(row), make(row)
    second()
    made = Paper.objects.values().get(delivery=delivery)
    first()
    assert Paper.objects.values().get(delivery=delivery) == made


def test_later_changes_do_not_show_on_the_paper() -> None:
    delivery = packed(items=[abutment()])
    practice = delivery.case.practice
    practice.name = "Renamed Dental"
    practice.save()
    print_all()
    assert "Northgate Dental" in pdf_reader.text(file_of(paper_of(delivery)))


def test_a_paper_that_cannot_be_made_is_tried_again_later() -> None:
    delivery = packed(items=[abutment()])
    Paper.objects.filter(delivery=delivery).update(facts={})
    row = OutboxRow.objects.get(kind="paper")
    assert not outbox.run(row.pk)
    row.refresh_from_db()
    assert (row.state, row.attempt) == ("queued", 1)
    assert "KeyError" in row.error
    assert not paper_of(delivery).ready


def give_up(delivery: Delivery) -> OutboxRow:
    """Fail to make the slip of a box until its work is set aside."""
    Paper.objects.filter(delivery=delivery).update(facts={})
    row = OutboxRow.objects.get(kind="paper")
    for _ in range(len(outbox.LONG_PATIENCE) + 1):
        OutboxRow.objects.filter(state="queued").update(due_at=timezone.now())
        outbox.run(row.pk)
    row.refresh_from_db()
    return row


def test_a_paper_is_tried_for_hours_and_then_said_to_have_failed() -> None:
    delivery = packed(items=[abutment()])
    row = give_up(delivery)
    assert (row.state, row.attempt) == ("dead", 7)
    client = Client()
    client.force_login(cast.shipper())
    page = client.get(f"/cases/{delivery.case.number}/papers").content.decode()
    assert "Could not be printed; the administrator has been told" in page
    assert "every 2s" not in page
    assert "could not be printed" in client.get("/shipping").content.decode()
    file = client.get(f"/api/v1/papers/{paper_of(delivery).pk}/file")
    assert (file.status_code, file.json()["errors"][0]["code"]) == (409, "given-up")


def test_the_administrator_has_it_printed_again() -> None:
    delivery = packed(items=[abutment()])
    facts = paper_of(delivery).facts
    row = give_up(delivery)
    Paper.objects.filter(delivery=delivery).update(facts=facts)
    client = Client()
    client.force_login(cast.administrator())
    address = f"/work/{row.pk}/again"
    assert address in client.get("/").content.decode()
    assert client.post(address).status_code == 302
    print_all()
    assert paper_of(delivery).ready
    assert client.post(address).status_code == 409
    assert client.post("/work/999999/again").status_code == 404
    assert OutboxRow.objects.filter(kind="paper").count() == 2


def test_a_made_paper_is_frozen_in_the_database() -> None:
    delivery = packed(items=[abutment()])
    print_all()
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        Paper.objects.filter(delivery=delivery).update(facts={})
    assert paper_of(delivery).facts["patient"] == "K-2041"
