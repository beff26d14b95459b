"""Opening a case and preparing its prescription, until a prescriber signs it."""

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Conflict, Fault, Refusal, refuse
from labqueue.base.models import User
from labqueue.base.numbers import next_number
from orders import due, seal
from orders.checks import read_order
from orders.doors import lock, member_of, own_case
from orders.facts import ItemFacts, OrderFacts
from orders.lifecycle import changeable
from orders.materials import Kind, Material
from orders.models import Case, Item, Practice, Prescription
from orders.patients import tidy

__all__ = ["ItemFacts", "edit_draft", "open_case"]


@transaction.atomic
def open_case(
    actor: User,
    *,
    patient_ref: str,
    stage: str,
    seat_at: datetime | None = None,
    note: str = "",
    items: Sequence[ItemFacts],
    practice: str = "",
) -> Case:
    """A new case of the actor's practice with its draft. `practice` may repeat the code of that practice.

    Raises Refusal with every fault of the order, each naming its field.
    """
    own = member_of(actor).practice
    order = OrderFacts(tidy(patient_ref), stage, seat_at, note.strip(), items)
    pieces = checked(order, own, foreign_practice(practice, own))
    now = timezone.now()
    case = Case(practice=own, patient_ref=order.patient_ref, stage=stage, seat_at=seat_at, created_by=actor)
    case.number, case.created_at = case_number(now), now
    case.save(force_insert=True)
    draft = Prescription.objects.create(case=case, version=1, seat_at=seat_at, note=order.note)
    save_pieces(draft, pieces)
    audit.record(case, "opened", actor, after=seal.content(case, draft))
    return case


@transaction.atomic
def edit_draft(
    actor: User,
    case: Case,
    *,
    patient_ref: str,
    stage: str,
    seat_at: datetime | None = None,
    note: str = "",
    items: Sequence[ItemFacts],
    seen: str = "",
) -> Prescription:
    """Put other facts into the case's draft. Of a signed case, patient and stage stay.

    `seen` is the mark of the draft that was opened (`orders.seal.mark`). Raises Refusal with every fault of the order,
    Conflict where there is no draft, or another one by now.
    """
    lock(case)
    own_case(actor, case)
    draft = draft_of(case)
    as_read(case, draft, seen, "change it")
    if case.state != Case.State.DRAFT:
        changeable(case)
    order = OrderFacts(tidy(patient_ref), stage, seat_at, note.strip(), items)
    pieces = checked(order, case.practice, relabelled(case, order), appointment_stands=as_signed(case, seat_at))
    before = seal.content(case, draft)
    if case.current_id is None:
        case.patient_ref, case.stage, case.seat_at = order.patient_ref, stage, seat_at
        case.save(update_fields=["patient_ref", "stage", "seat_at"])
    draft.seat_at, draft.note = seat_at, order.note
    draft.save(update_fields=["seat_at", "note"])
    draft.items.all().delete()
    save_pieces(draft, pieces)
    audit.record(case, "draft changed", actor, before=before, after=seal.content(case, draft))
    return draft


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


def as_signed(case: Case, seat_at: datetime | None) -> bool:
    """Whether the appointment is the one that was signed. It stays, even where its date can no longer be kept."""
    return case.current_id is not None and seat_at == case.seat_at


def checked(
    order: OrderFacts, practice: Practice, faults: Sequence[Fault] = (), *, appointment_stands: bool = False
) -> list[Item]:
    """The pieces of an order without a fault. Raises Refusal with all of them otherwise."""
    pieces, wrong = read_order(order)
    faults = [*faults, *wrong, *([] if appointment_stands else date_faults(order, practice, pieces))]
    if faults:
        raise Refusal(faults)
    return pieces


def date_faults(order: OrderFacts, practice: Practice, pieces: Sequence[Item]) -> list[Fault]:
    """The appointment can still be kept. Pieces whose words are unknown take no days; they are refused anyway."""
    now = timezone.now()
    if far := due.far_faults(order.seat_at, now):
        return far
    makes = [piece.make for piece in pieces if piece.kind in Kind.values and piece.material in Material.values]
    promise = due.promise_for(due.way_to(practice), order.seat_at, makes, now)
    return due.seat_faults(promise, order.seat_at, now)


def foreign_practice(code: str, own: Practice) -> list[Fault]:
    """Nobody orders for another practice."""
    if code in ("", own.code):
        return []
    return [Fault("practice", f"You order for {own.code} only, not for “{code[:20]}”. Leave it out.", "practice")]


def relabelled(case: Case, order: OrderFacts) -> list[Fault]:
    """A signed provisional is never turned into a final, nor a case into another patient's."""
    why = "was signed as {}; it stays so. Open a new case for anything else."
    signed = {"stage": case.stage, "patient_ref": case.patient_ref} if case.current_id else {}
    return [
        Fault(name, f"The case {why.format(was)}", name) for name, was in signed.items() if getattr(order, name) != was
    ]


def case_number(now: datetime) -> str:
    """The next free number: two digits of the year in the laboratory, then five that count."""
    year = f"{timezone.localtime(now):%y}"
    return f"{year}{next_number(f'case/{year}'):05d}"


def save_pieces(draft: Prescription, pieces: Sequence[Item]) -> None:
    """Write the pieces in their order, each on its line.

    A line belongs to one piece of one tooth from the first signature on, in every later version, so that the floor can
    tell what stayed, what is new and what is gone.
    """
    signed = Item.objects.filter(prescription__case=draft.case_id, prescription__signed_at__isnull=False)
    lines = {(item.tooth, item.kind): item.line for item in signed}
    last = max(lines.values(), default=0)
    for piece in pieces:
        line = lines.get((piece.tooth, piece.kind))
        if line is None:
            line = last = last + 1
        piece.prescription, piece.line = draft, line
    Item.objects.bulk_create(pieces)
