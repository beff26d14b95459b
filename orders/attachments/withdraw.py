"""Taking a file back: it is no longer shown, and what it held is forgotten. That it was there stays on record."""

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from labqueue.base import audit, outbox
from labqueue.base.errors import Conflict, Forbidden, NotFound, refuse
from labqueue.base.models import User
from orders.attachments.reads import State, files_of
from orders.attachments.receive import SCANS, Role
from orders.doors import lock, own_case
from orders.models import OVER_STATES, Attachment, Case

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

    from orders.attachments.reads import Fate

    # One of `files_of`.
    Fated = WithAnnotations[Attachment, Fate]

FORGET = "forget file"
# The laboratory works by these once the case is released; a signed order needs them.
WORKED_BY = SCANS | {Role.STICKER}
BEFORE_WORK = frozenset({Case.State.DRAFT, Case.State.SIGNED, Case.State.ACCEPTED})


@transaction.atomic
def withdraw(actor: User, case: Case, attachment: Attachment) -> Attachment:
    """Take back a file that one's own side has sent.

    Raises Forbidden for a file of the other side, Conflict where the laboratory works by it, it was shown for
    approval or has gone with the case, NotFound where it is withdrawn already.
    """
    lock(case)
    found = files_of(case).filter(pk=attachment.pk).first()
    if found is None:
        raise refuse("file", f"There is no file {attachment.pk} for you.", field="file", kind=NotFound)
    if not actor.works_here:
        own_case(actor, case)
    if actor.works_here != found.by.works_here:
        raise refuse("side", f"{attachment} was sent by the other side. Ask them to withdraw it.", kind=Forbidden)
    if why := kept_for(case, found):
        raise refuse("state", f"{attachment} {why}", kind=Conflict)
    attachment.refresh_from_db()
    attachment.withdrawn_at = timezone.now()
    attachment.save(update_fields=["withdrawn_at"])
    audit.record(case, "withdrew a file", actor, after={"attachment": attachment, "sha256": attachment.sha256})
    put_away(attachment)
    return attachment


def kept_for(case: Case, attachment: "Fated") -> str:
    """Why a file stays, or nothing."""
    if attachment.shown:
        return "was shown to the practice, and what was decided about it stays on record."
    if case.state in OVER_STATES and attachment.role != Role.EVALUATION:
        return f"belongs to a case that is {case.get_state_display().lower()}, and stays on record."
    if attachment.role not in WORKED_BY or attachment.state == State.REFUSED or case.current_id is None:
        return ""
    if case.state not in BEFORE_WORK:
        return "is what the laboratory works by, and stays on record. Send another one beside it."
    return "" if attachment.doubled else "belongs to a signed order. Send another one first, then withdraw this one."


def may_withdraw(actor: User, case: Case, attachment: "Fated") -> bool:
    """Whether it is worth a button."""
    return actor.works_here == attachment.by.works_here and not kept_for(case, attachment)


def put_away(attachment: Attachment) -> None:
    """Have the worker forget the file and its picture, where no other row uses them."""
    for name in sorted({attachment.file, attachment.preview} - {""}):
        outbox.put(FORGET, name)
