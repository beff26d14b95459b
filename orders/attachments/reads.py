"""Files of a case, as its page, the interface and the rules of an order ask for them."""

from typing import TYPE_CHECKING, TypedDict

from django.db.models import CharField, Exists, OuterRef, Q, QuerySet, Value
from django.db.models.functions import Cast, Concat

from labqueue.base.errors import NotFound, refuse
from labqueue.base.models import OutboxRow, User
from orders.doors import cases_for
from orders.models import Attachment, Case, Message

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

KIND = "attachment"
State = Attachment.State


class Fate(TypedDict):
    """What `files_of` adds to a file: whether the worker has given it up, approval was asked for it, and another file
    that can be used shows the same."""

    set_aside: bool
    shown: bool
    doubled: bool


def files_of(case: Case) -> "QuerySet[WithAnnotations[Attachment, Fate]]":
    """The files of a case that are not withdrawn, in the order they came."""
    subject = Concat(Value("attachment:"), Cast(OuterRef("pk"), CharField()))
    dead = OutboxRow.objects.filter(kind=KIND, subject=subject, state=OutboxRow.State.DEAD)
    found = Attachment.objects.filter(case=case, withdrawn_at__isnull=True)
    shown = Message.objects.filter(attachment=OuterRef("pk"))
    same = Attachment.objects.filter(case=case, role=OuterRef("role"), state=State.READY, withdrawn_at__isnull=True)
    doubled = Exists(same.exclude(pk=OuterRef("pk")))
    found = found.annotate(set_aside=Exists(dead), shown=Exists(shown), doubled=doubled)
    return found.select_related("by", "case").order_by("number")


def file_for(user: User, pk: int) -> Attachment:
    """A file of a case that `user` may see, in whatever state. Raises NotFound for unknown, foreign and withdrawn."""
    found = Attachment.objects.filter(pk=pk, case__in=cases_for(user), withdrawn_at__isnull=True)
    attachment = found.select_related("case", "by").first()
    if attachment is None:
        raise refuse("file", f"There is no file {pk} for you.", field="file", kind=NotFound)
    return attachment


def in_use(name: str) -> bool:
    """Whether a file of the store is the file or the picture of one that is not withdrawn."""
    return Attachment.objects.filter(Q(file=name) | Q(preview=name), withdrawn_at__isnull=True).exists()
