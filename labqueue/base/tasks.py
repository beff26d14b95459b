"""What a worker does for every room."""

from celery import shared_task

from labqueue.base import outbox


@shared_task(name="labqueue.base.tasks.run_outbox")
def run_outbox(row_id: int) -> None:
    """Do one outbox row; safe to send twice."""
    outbox.run(row_id)


@shared_task(name="labqueue.base.tasks.sweep_outbox", expires=10)
def sweep_outbox() -> None:
    """Send again what is due and has no message on its way."""
    outbox.sweep()


@shared_task(name="labqueue.base.tasks.purge_outbox")
def purge_outbox() -> None:
    """Forget work that ended well long ago."""
    outbox.purge()
