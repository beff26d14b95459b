"""Making papers: after the commit, once, from the frozen facts, and the same file whenever it is made again."""

import hashlib

import pytest
from django.db import DatabaseError, transaction

from labqueue.base import outbox
from labqueue.base.models import OutboxRow
from shipping.models import Paper
from shipping.tasks import ask_for, make, render
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


def test_a_made_paper_is_frozen_in_the_database() -> None:
    delivery = packed(items=[abutment()])
    print_all()
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        Paper.objects.filter(delivery=delivery).update(facts={})
    assert paper_of(delivery).facts["patient"] == "K-2041"
