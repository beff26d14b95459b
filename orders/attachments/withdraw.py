"""Taking a file back: it is no longer shown, and what it held is forgotten. That it was there stays on record."""

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from labqueue.base import audit, outbox
from labqueue.base.errors import Conflict, Forbidden, NotFound, refuse
from labqueue.base.models import User
from orders.attachments.receive import SCANS, Role
from orders.doors import lock, own_case
from orders.models import Attachment, Case, Message

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

    from orders.attachments.reads import Fate

FORGET = "forget file"
# The laboratory works by these once the case is released.
WORKED_BY = SCANS | {Role.STICKER}
BEFORE_WORK = frozenset({Case.State.DRAFT, Case.State.SIGNED, Case.State.ACCEPTED})
GONE = frozenset({Case.State.SHIPPED, Case.State.CANCELLED})


@transaction.atomic
def withdraw(actor: User, case: Case, attachment: Attachment) -> Attachment:
    """Take back a file that one's own side has sent.

    Raises Forbidden for a file of the other side, Conflict where the laboratory works by it, it was shown for
    approval or has gone with the case, NotFound where it is withdrawn already.
    """
    lock(case)
    attachment.refresh_from_db()
    if attachment.withdrawn_at is not None:
        raise refuse("file", f"There is no file {attachment.pk} for you.", field="file", kind=NotFound)
    if not actor.works_here:
        own_case(actor, case)
    if actor.works_here != attachment.by.works_here:
        raise refuse("side", f"{attachment} was sent by the other side. Ask them to withdraw it.", kind=Forbidden)
    if why := kept_for(case, attachment, shown=Message.objects.filter(attachment=attachment).exists()):
        raise refuse("state", f"{attachment} {why}", kind=Conflict)
    attachment.withdrawn_at = timezone.now()
    attachment.save(update_fields=["withdrawn_at"])
    audit.record(case, "withdrew a file", actor, after={"attachment": attachment, "sha256": attachment.sha256})
    put_away(attachment)
    return attachment


def kept_for(case: Case, attachment: Attachment, *, shown: bool) -> str:
    """Why a file stays, or nothing. `shown`: the practice was asked to look at it."""
    if shown:
        return "was shown to the practice, and what was decided about it stays on record."
    if case.state in GONE and attachment.role != Role.EVALUATION:
        return f"belongs to a case that is {case.get_state_display().lower()}, and stays on record."
    if attachment.role in WORKED_BY and case.state not in BEFORE_WORK:
        return "is what the laboratory works by, and stays on record. Send another one beside it."
    return ""


def may_withdraw(actor: User, case: Case, attachment: "WithAnnotations[Attachment, Fate]") -> bool:
    """Whether it is worth a button, for one of `files_of`."""
    return actor.works_here == attachment.by.works_here and not kept_for(case, attachment, shown=attachment.shown)


def put_away(attachment: Attachment) -> None:
    """Have the worker forget the file and its picture, where no other row uses them."""
    for name in sorted({attachment.file, attachment.preview} - {""}):
        outbox.put(FORGET, name)
