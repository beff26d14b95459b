"""Taking in a file: what it is, whether it may come to this case, and only then is it kept."""

from typing import IO

from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.db.models import Max, Sum
from django.utils import timezone

from labqueue.base import audit, files, outbox
from labqueue.base.errors import Conflict, refuse
from labqueue.base.files import Stored
from labqueue.base.models import User
from orders.attachments import content
from orders.attachments.content import MB, MESHES, PHOTOS, Type
from orders.attachments.reads import KIND, State, in_use
from orders.doors import lock, own_case
from orders.models import Attachment, Case

Role = Attachment.Role
MOST_FILES, MOST_BYTES = 40, 1000 * MB
SCANS = frozenset({role for role in Role if role.endswith("_scan")})
FACES = frozenset({role for role in Role if role.startswith("photo_")} | {Role.EVALUATION})
# Which types a role takes; a photo of a label or a face can be nothing else.
TYPES: dict[Attachment.Role, frozenset[Attachment.Type]] = {
    **dict.fromkeys(SCANS, MESHES),
    **dict.fromkeys(FACES | {Role.STICKER}, PHOTOS),
    Role.DESIGN: MESHES | PHOTOS | {Type.PDF},
    Role.DOCUMENT: PHOTOS | {Type.PDF},
}


def receive(
    actor: User, case: Case, role: str, upload: "UploadedFile[bytes]", *, no_face: bool = False, consent: bool = False
) -> Attachment:
    """Keep a file with a case, by its content and under a name of our own; a worker looks at it more closely.

    A photo of a mouth either shows no full face (`no_face`) or the patient has agreed (`consent`). Raises Forbidden
    for other practices, Conflict where the case takes no files now, Refusal for what it is, with nothing kept of it.
    """
    admit(actor, case, role)
    file, size = upload.file, upload.size or 0
    assert file is not None
    if getattr(upload, "too_large", False):
        raise content.refused("size", f"The file has more than 200 MB. {content.TAKEN}")
    kind = content.recognise(file, size)
    fits(Role(role), kind, agreed=no_face or consent)
    return keep(actor, case, Attachment(case=case, role=role, type=kind, consent=consent, by=actor), file, size)


def admit(actor: User, case: Case, role: str) -> None:
    """Raises a refusal where `actor` may not add a file to this case, or not now."""
    if not actor.works_here:
        own_case(actor, case)
    if role not in Role.values:
        raise refuse("role", f"Say what the file shows: one of {', '.join(Role.values)}.", field="role")
    if role == Role.DESIGN and not actor.works_here:
        raise refuse("role", "Designs come from the laboratory. Send it as another paper.", field="role")
    if not takes_files(case, role):
        why = f"{case} is {case.get_state_display().lower()} and takes no more files."
        raise refuse("state", why, kind=Conflict)


def takes_files(case: Case, role: str = Role.EVALUATION) -> bool:
    """Whether files can be added: after shipping only those that show how a piece did."""
    closed = {Case.State.CANCELLED} if role == Role.EVALUATION else {Case.State.CANCELLED, Case.State.SHIPPED}
    return case.state not in closed


def fits(role: Attachment.Role, kind: Attachment.Type, *, agreed: bool) -> None:
    """Raises Refusal where a file of that type does not show this, or a photo might show a face nobody agreed to."""
    if kind not in TYPES[role]:
        wanted = ", ".join(sorted(one.label for one in TYPES[role]))
        why = f"{role.label} is taken as {wanted}; this file is a {kind.label}. Choose what it shows, or another file."
        raise refuse("role", why, field="role")
    if role in FACES and not agreed:
        why = "Confirm that the photo shows no full face, or that the patient has agreed to it."
        raise refuse("consent", why, field="no_face")


def keep(actor: User, case: Case, attachment: Attachment, file: IO[bytes], size: int) -> Attachment:
    """The file into the store, then its row. Where the row cannot be, the file goes again."""
    kind, stored = Type(attachment.type), None
    try:
        with files.keeping():
            stored = files.store(content.cleaned(file, kind, size), f".{kind}")
            return enter(actor, case, attachment, stored)
    except BaseException:
        if stored is not None:
            forget(stored.name)
        raise


def forget(name: str) -> bool:
    """Take a file out of the store, unless another row speaks of it."""
    return files.forget(name, lambda: in_use(name))


@transaction.atomic
def enter(actor: User, case: Case, attachment: Attachment, stored: Stored) -> Attachment:
    """Write the row, checked again under the case's lock."""
    lock(case)
    admit(actor, case, attachment.role)
    check_room(case, attachment.role, stored)
    last = case.attachments.aggregate(last=Max("number"))["last"] or 0
    attachment.number, attachment.at = last + 1, timezone.now()
    attachment.file, attachment.sha256, attachment.size = stored
    if attachment.type == Type.PDF:
        attachment.state, attachment.progress = State.READY, 100
    attachment.save()
    facts = {"attachment": attachment, "role": attachment.role, "type": attachment.type, "sha256": stored.sha256}
    audit.record(case, "received a file", actor, after={**facts, "size": stored.size})
    if attachment.state == State.CHECKING:
        outbox.put(KIND, f"attachment:{attachment.pk}", {"attachment": attachment.pk})
    return attachment


def check_room(case: Case, role: str, stored: Stored) -> None:
    """Raises Refusal where a case has too many files, or this very one."""
    there = case.attachments.filter(withdrawn_at__isnull=True).exclude(state=State.REFUSED)
    if same := there.filter(sha256=stored.sha256, role=role).first():
        raise content.refused("twice", f"This file is with the case already, as {same.filename}.")
    if there.count() >= MOST_FILES:
        raise content.refused("count", f"{case} has {MOST_FILES} files. Withdraw one that is not needed.")
    total = there.aggregate(total=Sum("size"))["total"] or 0
    if total + stored.size > MOST_BYTES:
        left = max(0, MOST_BYTES - total) // MB
        raise content.refused("size", f"{case} has room for {left} MB more. Withdraw a file that is not needed.")
