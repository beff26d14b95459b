"""Packing a case: the box is closed, and the slip that lies in it is frozen."""

from django.db import transaction
from django.utils import timezone

from labqueue.base.errors import Conflict, refuse
from labqueue.base.models import User
from labqueue.production.models import WorkItem
from labqueue.production.people import laboratory_only
from labqueue.production.release import live_items
from orders.doors import lock
from orders.lifecycle import advance
from orders.models import Case
from shipping.models import Delivery, Paper
from shipping.slip_facts import slip_facts
from shipping.tasks import ask_for


@transaction.atomic
def pack(actor: User, case: Case) -> Delivery:
    """finished -> packed, once every piece was scanned into the box. The slip is printed by a worker.

    Raises Conflict where the case is not finished, is on hold, or a piece is not in the box.
    """
    laboratory_only(actor)
    lock(case)
    if case.state == Case.State.FINISHED:
        check_box(case)
    now = timezone.now()
    advance(case, Case.State.PACKED, verb="packed", actor=actor)
    delivery = Delivery.objects.create(case=case, packed_at=now, packed_by=actor)
    ask_for(Paper.objects.create(kind=Paper.Kind.SLIP, delivery=delivery, facts=slip_facts(delivery)))
    return delivery


def check_box(case: Case) -> None:
    """Raise Conflict where a piece was not scanned into the box."""
    out = [str(piece) for piece in live_items(case) if piece.state != WorkItem.State.DONE]
    if out:
        raise refuse(
            "box", f"Not in the box yet: {', '.join(out)}. Scan each piece into it first.", "case", kind=Conflict
        )
