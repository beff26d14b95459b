"""Making papers: after the commit, once, from the frozen facts, and the same file whenever it is made again."""

import hashlib

import pytest
from django.db import DatabaseError, transaction
from django.test import Client
from django.utils import timezone

from labqueue.base import files, outbox
from labqueue.base.models import OutboxRow
from shipping.models import Paper
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


def full(data: bytes, suffix: str) -> files.Stored:
    """What a full disk does."""
    raise OSError(28, "No space left on device")


def test_a_paper_that_cannot_be_made_is_tried_again_later(monkeypatch: pytest.MonkeyPatch) -> None:
    delivery = packed(items=[abutment()])
    monkeypatch.setattr(files, "store", full)
    row = OutboxRow.objects.get(kind="paper")
    assert not outbox.run(row.pk)
    row.refresh_from_db()
    assert (row.state, row.attempt) == ("queued", 1)
    assert "No space left" in row.error
    assert not paper_of(delivery).ready


def give_up() -> OutboxRow:
    """Fail to make the only paper until its work is set aside."""
    row = OutboxRow.objects.get(kind="paper")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(files, "store", full)
        for _ in range(len(outbox.LONG_PATIENCE) + 1):
            OutboxRow.objects.filter(state="queued").update(due_at=timezone.now())
            outbox.run(row.pk)
    row.refresh_from_db()
    return row


def test_a_paper_is_tried_for_hours_and_then_said_to_have_failed() -> None:
    delivery = packed(items=[abutment()])
    row = give_up()
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
    row = give_up()
    client = Client()
    client.force_login(cast.administrator())
    address = f"/outbox/{row.pk}/again"
    assert address in client.get("/").content.decode()
    assert client.post(address).status_code == 302
    print_all()
    assert paper_of(delivery).ready
    assert client.post(address).status_code == 409
    assert client.post("/outbox/999999/again").status_code == 404
    assert OutboxRow.objects.filter(kind="paper").count() == 2


@pytest.mark.parametrize("printed", [False, True])
def test_the_facts_of_a_paper_are_frozen_in_the_database(printed: bool) -> None:
    delivery = packed(items=[abutment()])
    if printed:
        print_all()
    slips = Paper.objects.filter(delivery=delivery)
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        slips.update(facts={})
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        slips._raw_delete(slips.db)
    assert paper_of(delivery).facts["patient"] == "K-2041"
