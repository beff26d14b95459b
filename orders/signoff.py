"""Signing a prescription, and changing a signed one: a new version that is signed again."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Conflict, Forbidden, refuse
from labqueue.base.models import User
from orders import due, seal, standstill
from orders.check import examine_draft, standing, weighed
from orders.doors import lock, own_case
from orders.facts import ORDER_COLUMNS, ReasonFacts
from orders.intake import as_read, checked, draft_of
from orders.lifecycle import advance, changeable
from orders.models import Case, Item, Member, Prescription, Reason
from orders.reasons import forget, give
from orders.talk.stops import complete, settle
from orders.treatment.duplicates import lock_practice

S = Case.State


@transaction.atomic
def sign(actor: User, case: Case, *, seen: str = "", reasons: Sequence[ReasonFacts] = ()) -> Prescription:
    """Sign the draft: it is frozen, becomes the current version, and the case gets its due date.

    `seen` is the mark of what the prescriber read (`orders.seal.mark`); another draft by now is a Conflict. `reasons`
    for what is unusual are kept under the signer's name, beside those that the draft has. A case on the floor stays
    there, and the floor waits until the new version is released; every other one waits for acceptance. Where something
    is missing, the case stands still until it is brought.
    """
    lock(case)
    member = signer(actor, case)
    draft = draft_of(case)
    if case.current_id is not None:
        changeable(case)
    as_read(case, draft, seen, "sign")
    lock_practice(case.practice)
    examined = checked(examine_draft(case, draft))
    forget(draft, standing(case, draft, examined.findings))
    give(member, draft, examined, reasons)
    now = timezone.now()
    # An appointment that was signed before stays signed, even where its date can no longer be kept.
    promise = due.promise_of(due.way_to(case.practice), draft, draft.makes, now)
    freeze(case, draft, member, now)
    take_over(case, actor, {"current": draft, "seat_at": draft.seat_at, "due_at": promise.due_at})
    standstill.ask(case, examined.findings, examined.pieces)
    settle(case, actor)
    complete(case)
    return draft


@transaction.atomic
def amend(actor: User, case: Case) -> Prescription:
    """Begin a change: a draft with the facts of the current version, to be edited and signed.

    Its reasons go along as far as what they answer is found now as it was then.
    """
    lock(case)
    own_case(actor, case)
    current = case.current
    if current is None:
        raise refuse("draft", f"{case} was never signed. Edit its draft instead.", kind=Conflict)
    changeable(case)
    if case.draft is not None:
        raise refuse("draft", f"A change of {case} is already being prepared. Edit or discard it.", kind=Conflict)
    last = current.version
    said = {name: getattr(current, name) for name in ORDER_COLUMNS}
    draft = Prescription.objects.create(case=case, version=last + 1, **said)
    Item.objects.bulk_create(copy_of(item, draft) for item in current.items.all())
    Reason.objects.bulk_create(repeated(reason, draft) for reason in current.reasons.all())
    forget(draft, standing(case, draft, [found for found, _ in weighed(case, draft)]))
    audit.record(case, "change begun", actor, before={"version": last}, after={"version": draft.version})
    return draft


@transaction.atomic
def discard(actor: User, case: Case) -> None:
    """Drop a change that was begun; the signed version stays as it is."""
    lock(case)
    own_case(actor, case)
    draft = draft_of(case)
    if case.current_id is None:
        raise refuse("draft", f"{case} was never signed. Cancel it instead.", kind=Conflict)
    audit.record(case, "change discarded", actor, before=seal.content(case, draft))
    draft.reasons.all().delete()
    draft.items.all().delete()
    draft.delete()


def signer(actor: User, case: Case) -> Member:
    """The membership of somebody who may sign for the practice of the case. Raises Forbidden for others."""
    member = own_case(actor, case)
    if not (member.may_sign and member.licence_number):
        why = "Only a prescriber of the practice with a licence number can sign. Ask one to open this case."
        raise refuse("signer", why, kind=Forbidden)
    return member


def freeze(case: Case, draft: Prescription, member: Member, now: datetime) -> None:
    """Put the signature on; from here on triggers keep the version as it is.

    Pieces and reasons first, while they still may.
    """
    draft.signed_by, draft.licence_number, draft.signed_at = member, member.licence_number, now
    draft.hash = seal.seal(case, draft)
    draft.items.update(frozen=True)
    draft.reasons.update(frozen=True)
    draft.save(update_fields=["signed_by", "licence_number", "signed_at", "hash"])


def take_over(case: Case, actor: User, changes: dict[str, Any]) -> None:
    """Make the signed version the one that counts."""
    if case.state != S.RELEASED:
        advance(case, S.SIGNED, verb="signed", actor=actor, accepted_at=None, accepted_by=None, **changes)
        return
    before = {name: getattr(case, name) for name in changes}
    for name, value in changes.items():
        setattr(case, name, value)
    case.save(update_fields=list(changes))
    audit.record(case, "signed", actor, before=before, after=changes)


def copy_of(item: Item, draft: Prescription) -> Item:
    """The same piece in another version."""
    return Item(prescription=draft, **{field: getattr(item, field) for field in seal.ITEM_FIELDS})


def repeated(reason: Reason, draft: Prescription) -> Reason:
    """The same reason in another version, still by who gave it."""
    return Reason(
        prescription=draft, rule=reason.rule, line=reason.line, text=reason.text, by_id=reason.by_id, at=reason.at
    )
