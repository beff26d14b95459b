"""What a worker does for orders: reminders and mail, and what it does with files."""

from celery import shared_task
from django.utils import timezone

from labqueue.base import outbox
from labqueue.base.models import OutboxRow
from orders.attachments import tasks as attachments
from orders.talk import notices
from orders.talk.remind import remind

# Their handlers, known to whoever knows these.
__all__ = ["attachments", "remind_practices", "send_mail"]


@shared_task(name="orders.tasks.remind_practices", expires=300)
def remind_practices() -> None:
    """Remind of what is open, and ask for evaluations."""
    remind(timezone.now())


@outbox.handles(notices.KIND, lease=60, patience=outbox.LONG_PATIENCE)
def send_mail(row: OutboxRow) -> outbox.Publish:
    """Send one mail, if it is still wanted."""
    if (mail := notices.letter(row)) is not None:
        mail.send()
    return lambda: None
