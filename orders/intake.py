"""Opening a case and preparing its prescription, until a prescriber signs it."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Conflict, Fault, Refusal, refuse
from labqueue.base.models import User
from labqueue.base.numbers import next_number
from orders import seal
from orders.check import Examined, as_of, examine, standing
from orders.doors import lock, member_of, own_case
from orders.facts import OF_CASE, ORDER_COLUMNS, ItemFacts, OrderFacts
from orders.lifecycle import changeable
from orders.models import Case, Item, Practice, Prescription
from orders.patients import tidy
from orders.reasons import answered, forget, keep
from orders.treatment.relation import origin_of

__all__ = ["ItemFacts", "edit_draft", "open_case"]


@transaction.atomic
def open_case(actor: User, *, practice: str = "", **facts: Any) -> Case:
    """A new case of the actor's practice with its draft; `facts` are those of `OrderFacts`.

    `practice` may repeat the code of that practice. Raises Refusal with every fault of the order, each naming its
    field.
    """
    own = member_of(actor).practice
    order = tidied(OrderFacts(**facts))
    examined = checked(examine(order, own), foreign_practice(practice, own))
    now = timezone.now()
    case = Case(practice=own, **{name: getattr(order, name) for name in OF_CASE}, seat_at=order.seat_at)
    case.origin = origin_of(order, own)
    case.number, case.created_at, case.created_by = case_number(now), now, actor
    case.save(force_insert=True)
    draft = examined.prescription
    draft.case, draft.version = case, 1
    draft.save(force_insert=True)
    save_pieces(draft, examined.pieces)
    keep(actor, draft, answered(order.reasons, examined.findings, examined.pieces))
    audit.record(case, "opened", actor, after=seal.content(case, draft))
    return case


@transaction.atomic
def edit_draft(actor: User, case: Case, *, seen: str = "", **facts: Any) -> Prescription:
    """Put other facts, those of `OrderFacts`, into the case's draft. What the case is to an earlier one stays.

    A reason that is only kept stands while what it answered says the same. Of a signed case, patient and stage stay,
    too. `seen` is the mark of the draft that was opened (`orders.seal.mark`).
    Raises Refusal with every fault of the order, Conflict where there is no draft, or another one by now.
    """
    lock(case)
    own_case(actor, case)
    draft = draft_of(case)
    as_read(case, draft, seen, "change it")
    if case.state != Case.State.DRAFT:
        changeable(case)
    order = as_of(case, tidied(OrderFacts(**facts)))
    examined = checked(examine(order, case.practice, case))
    before, stand = seal.content(case, draft), standing(case, draft, examined.findings)
    if case.current_id is None:
        case.patient_ref, case.stage, case.seat_at = order.patient_ref, order.stage, order.seat_at
        case.save(update_fields=["patient_ref", "stage", "seat_at"])
    for name in ORDER_COLUMNS:
        setattr(draft, name, getattr(examined.prescription, name))
    draft.save(update_fields=ORDER_COLUMNS)
    draft.items.all().delete()
    save_pieces(draft, examined.pieces)
    forget(draft, stand)
    keep(actor, draft, answered(order.reasons, examined.findings, examined.pieces, stand))
    audit.record(case, "draft changed", actor, before=before, after=seal.content(case, draft))
    return draft


def tidied(order: OrderFacts) -> OrderFacts:
    """The order as it is kept: the reference as a code, the texts without what surrounds them."""
    texts = {name: getattr(order, name).strip() for name in ("note", "origin", "cause_note")}
    return replace(order, patient_ref=tidy(order.patient_ref), **texts)


def draft_of(case: Case) -> Prescription:
    """The version that is being prepared. Raises Conflict where everything is signed."""
    draft = case.draft
    if draft is None:
        raise refuse("draft", f"{case} has no draft. Begin a change of the prescription first.", kind=Conflict)
    return draft


def as_read(case: Case, draft: Prescription, seen: str, then: str) -> None:
    """Raises Conflict where the draft is not what was read; nothing is asked of who says nothing."""
    if seen and seen != seal.mark(case, draft):
        raise refuse("draft", f"The draft was changed after you read it. Read it again, then {then}.", kind=Conflict)


def checked(examined: Examined, faults: Sequence[Fault] = ()) -> Examined:
    """What was examined, where nothing is refused. Raises Refusal with all faults otherwise."""
    faults = [*faults, *examined.refused]
    if faults:
        raise Refusal(faults)
    return examined


def foreign_practice(code: str, own: Practice) -> list[Fault]:
    """Nobody orders for another practice."""
    if code in ("", own.code):
        return []
    return [Fault("practice", f"You order for {own.code} only, not for “{code[:20]}”. Leave it out.", "practice")]


def case_number(now: datetime) -> str:
    """The next free number: two digits of the year in the laboratory, then five that count."""
    year = f"{timezone.localtime(now):%y}"
    return f"{year}{next_number(f'case/{year}'):05d}"


def save_pieces(draft: Prescription, pieces: Sequence[Item]) -> None:
    """Write the pieces, each on its line."""
    for piece in pieces:
        piece.prescription = draft
    Item.objects.bulk_create(pieces)
