"""What a worker does with files: look at each closely, once, and forget those that nobody needs."""

from django.db.models import QuerySet

from labqueue.base import files, outbox
from labqueue.base.models import OutboxRow
from orders import standstill
from orders.attachments import preview, receive, withdraw
from orders.attachments.mesh import Unusable
from orders.attachments.preview import Shown
from orders.attachments.reads import KIND, State
from orders.doors import lock
from orders.models import Attachment

STEP = 5


class Progress:
    """Writes how far the work is, outside of any transaction, and keeps the lease."""

    def __init__(self, row: OutboxRow, attachment: Attachment) -> None:
        self.row, self.attachment, self.told = row, attachment, 0

    def __call__(self, share: float) -> None:
        """About every twentieth. Raises LeaseLost where another attempt has taken over."""
        percent = min(99, int(100 * share))
        if percent >= self.told + STEP:
            outbox.extend(self.row)
            waiting(self.attachment.pk).update(progress=percent)
            self.told = percent


def waiting(pk: int) -> "QuerySet[Attachment]":
    """The file, as long as it waits to be looked at."""
    return Attachment.objects.filter(pk=pk, state=State.CHECKING, withdrawn_at__isnull=True)


@outbox.handles(KIND, lease=60, patience=outbox.LONG_PATIENCE)
def look_at(row: OutboxRow) -> outbox.Publish:
    """Read a file to its end, and publish what it is or why it is refused; one that was looked at stays as it is."""
    attachment = waiting(int(str(row.payload["attachment"]))).first()
    if attachment is None:
        return lambda: None
    try:
        with files.open_file(attachment.file) as file:
            shown = preview.look(attachment.type, file, attachment.size, Progress(row, attachment))
    except Unusable as why:
        reason = str(why)[:200]
        return lambda: refuse(attachment, reason)
    return show(attachment, shown)


def show(attachment: Attachment, shown: Shown) -> outbox.Publish:
    """Keep the picture, and publish it with what is known. A case that waited for this file goes on."""
    with files.keeping():
        picture = files.store(shown.picture, shown.suffix)
    ready = {"state": State.READY, "progress": 100, "facts": shown.facts, "preview": picture.name}

    def publish() -> None:
        case = lock(attachment.case)  # before the file, as who withdraws it does
        if waiting(attachment.pk).update(**ready):
            standstill.bring(case)
        else:
            outbox.put(withdraw.FORGET, picture.name)

    return publish


def refuse(attachment: Attachment, reason: str) -> None:
    """Say why, and have the file forgotten."""
    refused = waiting(attachment.pk).update(state=State.REFUSED, progress=100, reason=reason, file="")
    if refused:
        withdraw.put_away(attachment)


@outbox.handles(withdraw.FORGET, lease=60, patience=outbox.LONG_PATIENCE)
def forget(row: OutboxRow) -> outbox.Publish:
    """Take a file out of the store. Once more does no harm."""
    receive.forget(row.subject)
    return lambda: None
