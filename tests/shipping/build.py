"""Boxes for tests, made by the real verbs: every piece in the box, packed, shipped and billed."""

import io
from typing import Any

from labqueue.base import files, outbox
from labqueue.base.models import OutboxRow, User
from labqueue.production.models import WorkItem
from orders.models import Case
from shipping import prices
from shipping.box import put_in
from shipping.dispatch import dispatch
from shipping.models import Delivery, Invoice, Paper
from shipping.packing import pack
from tests import cast
from tests.production.build import finished_case


def box_all(case: Case, actor: User | None = None) -> None:
    """Scan every piece of the case into its box."""
    for item in case.work_items.exclude(state=WorkItem.State.WITHDRAWN).order_by("line"):
        put_in(actor or cast.shipper(), case, item.code)


def boxed_case(**facts: Any) -> Case:
    """A finished case of which every piece lies in the box, which is not closed yet."""
    case = finished_case(**facts)
    box_all(case)
    case.refresh_from_db()
    return case


def packed(**facts: Any) -> Delivery:
    """A closed box."""
    return pack(cast.shipper(), boxed_case(**facts))


def shipped(**facts: Any) -> Delivery:
    """A box that has left, with its invoice; the price list is that of the demonstration."""
    prices.load(cast.laboratory())
    delivery = packed(**facts)
    return dispatch(cast.shipper(), delivery.case, "Harbour Courier", "HC-5521")


def invoice(**facts: Any) -> Invoice:
    """The invoice of a box that has left."""
    return Invoice.objects.get(delivery=shipped(**facts))


def print_all() -> None:
    """Do what the worker does: make every paper that was asked for."""
    for row in OutboxRow.objects.filter(kind="paper", state=OutboxRow.State.QUEUED):
        assert outbox.run(row.pk), row.error


def paper_of(delivery: Delivery, kind: str = "slip") -> Paper:
    """The paper of that kind."""
    return Paper.objects.get(delivery=delivery, kind=kind)


def file_of(paper: Paper) -> bytes:
    """The stored PDF of a paper."""
    with files.open_file(paper.file) as file:
        return io.BytesIO(file.read()).getvalue()
