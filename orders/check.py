"""The one look at an order: the form, its check while it is filled in, the interface and the signature all ask here."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from typing import NamedTuple

from django.utils import timezone

from labqueue.base.errors import Fault
from orders import due
from orders.checks import read_order, read_prescription
from orders.facts import OrderFacts, order_facts
from orders.findings import REASONED, Finding, Moment, Severity
from orders.makes import Make
from orders.materials import Kind, Material
from orders.models import Case, Item, Practice, Prescription, Reason
from orders.reasons import Key, reason_faults, unchanged
from orders.rules import Look, absent, hits
from orders.treatment import relation


class Examined(NamedTuple):
    """An order as rows that are not saved yet, and everything that was found in it."""

    pieces: list[Item]
    prescription: Prescription
    findings: list[Finding]

    @property
    def refused(self) -> list[Fault]:
        """What keeps it from being written."""
        return [found.fault() for found in self.findings if found.severity == Severity.REFUSE]


def examine(order: OrderFacts, practice: Practice, case: Case | None = None) -> Examined:
    """Everything that is to be said of an order of that practice; `case` is the one whose draft it is to be."""
    pieces, wrong = read_order(order)
    number_lines(case, pieces)
    prescription, unread = read_prescription(order, practice)
    origin = relation.origin_of(order, practice)
    faults = [*(relabelled(case, order) if case else ()), *relation.faults(order, origin, pieces, case)]
    faults += [*wrong, *unread, *reason_faults(order.reasons)]
    look = Look(order, practice, prescription, pieces, case, origin)
    findings = [refusal(fault, pieces) for fault in faults]
    findings += [*hits(Moment.ORDER, look), *hits(Moment.SIGN, look), *absent(look)]
    if case is None or not as_signed(case, order.seat_at):
        findings += [refusal(fault, pieces) for fault in date_faults(order, practice, pieces)]
    return Examined(pieces, prescription, findings)


def look_at(case: Case, prescription: Prescription) -> Look:
    """A version as it is written, at the moment of its signature; before that, now."""
    order, pieces = order_facts(case, prescription), list(prescription.items.all())
    now = prescription.signed_at or timezone.now()
    return Look(order, case.practice, prescription, pieces, case, case.origin, now)


def weighed(case: Case, prescription: Prescription) -> list[tuple[Finding, Reason | None]]:
    """What is unusual about a version, each with the reason that was given for it."""
    given = {(one.rule, one.line): one for one in prescription.reasons.all()}
    unusual = [found for found in hits(Moment.ORDER, look_at(case, prescription)) if found.severity in REASONED]
    return [(found, given.get((found.rule, found.line))) for found in unusual]


def standing(case: Case, draft: Prescription, findings: Sequence[Finding]) -> set[Key]:
    """The reasons of a draft that stand, by rule and line: what they answered when they were given is among `findings`.

    `draft` is as it was before the change that is looked at now.
    """
    rows = list(draft.reasons.all())
    look = look_at(case, draft)
    then = {at: hits(Moment.ORDER, replace(look, now=at)) for at in {one.at for one in rows}}
    stand = {at: unchanged(found, findings) for at, found in then.items()}
    return {(one.rule, one.line) for one in rows if (one.rule, one.line) in stand[one.at]}


def examine_draft(case: Case, draft: Prescription) -> Examined:
    """The same of a draft that is there. Its pieces and itself are read again, not those that are saved."""
    return examine(order_facts(case, draft), case.practice, case)


def as_of(case: Case, order: OrderFacts) -> OrderFacts:
    """The order with what is said once for ever when the case is opened."""
    origin = case.origin.number if case.origin else ""
    return replace(order, origin=origin, relation=case.relation, cause=case.cause, cause_note=case.cause_note)


def refusal(fault: Fault, pieces: Sequence[Item]) -> Finding:
    """A fault as what was found: of the piece that its path names."""
    parts = fault.field.split(".")
    line = pieces[int(parts[1])].line if parts[0] == "items" and len(parts) > 1 else 0
    return Finding(fault.code, Severity.REFUSE, fault.field, fault.message, line)


def number_lines(case: Case | None, pieces: Sequence[Item]) -> None:
    """Give each piece its line.

    A line belongs to one piece of one tooth from the first signature on, in every later version, so that the floor can
    tell what stayed, what is new and what is gone.
    """
    signed = Item.objects.filter(prescription__case=case, prescription__signed_at__isnull=False) if case else ()
    lines = {(item.tooth, item.kind): item.line for item in signed}
    last = max(lines.values(), default=0)
    for piece in pieces:
        line = lines.get((piece.tooth, piece.kind))
        if line is None:
            line = last = last + 1
        piece.line = line


def as_signed(case: Case, seat_at: datetime | None) -> bool:
    """Whether the appointment is the one that was signed. It stays, even where its date can no longer be kept."""
    return case.current_id is not None and seat_at == case.seat_at


def date_faults(order: OrderFacts, practice: Practice, pieces: Sequence[Item]) -> list[Fault]:
    """The appointment can still be kept. Pieces whose words are unknown take no days; they are refused anyway."""
    now = timezone.now()
    if far := due.far_faults(order.seat_at, now):
        return far
    promise = due.promise_of(due.way_to(practice), order, makes_of(pieces), now)
    return due.seat_faults(promise, order.seat_at, now)


def makes_of(pieces: Iterable[Item]) -> list[Make]:
    """How the pieces are made, as far as their words are known."""
    return [piece.make for piece in pieces if piece.kind in Kind.values and piece.material in Material.values]


def relabelled(case: Case, order: OrderFacts) -> list[Fault]:
    """A signed provisional is never turned into a final, nor a case into another patient's."""
    why = "was signed as {}; it stays so. Open a new case for anything else."
    signed = {"stage": case.stage, "patient_ref": case.patient_ref} if case.current_id else {}
    return [
        Fault(name, f"The case {why.format(was)}", name) for name, was in signed.items() if getattr(order, name) != was
    ]
