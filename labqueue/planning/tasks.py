"""What a worker does for planning. The engine is imported only where it works: the web never needs it."""

from celery import shared_task
from celery.signals import worker_init
from django.utils import timezone

from labqueue.base import outbox
from labqueue.base.models import OutboxRow
from labqueue.planning import freshness, history, promise
from orders.models import Case


@outbox.handles(freshness.KIND, lease=60)
def make_forecast(row: OutboxRow) -> outbox.Publish:
    """Simulates without a transaction; publishes with the row's end, so that a forecast is there once or not at all.

    The lease is short, so that the work of a killed worker is soon taken up; it is renewed while the simulation runs.
    """
    from labqueue.planning import forecast

    often = outbox.HANDLERS[freshness.KIND].lease / 4
    result = forecast.compute(timezone.now(), alive=lambda: outbox.extend(row), every=often)

    def publish() -> None:
        forecast.publish(result)

    return publish


@outbox.handles(promise.KIND, lease=60)
def make_promise(row: OutboxRow) -> outbox.Publish:
    """Simulates the floor with an order that is not signed yet. An order without a draft by now needs no promise."""
    case = Case.objects.select_related("practice", "origin").get(number=row.subject)
    draft = case.draft
    if draft is None:
        return lambda: None
    often = outbox.HANDLERS[promise.KIND].lease / 4
    found = promise.compute(case, draft, timezone.now(), alive=lambda: outbox.extend(row), every=often)

    def publish() -> None:
        promise.publish(found)

    return publish


@shared_task(name="labqueue.planning.tasks.notice_changes", expires=5)
def notice_changes() -> None:
    """Ask for a new forecast where one is wanted."""
    if freshness.wanted(timezone.now()):
        freshness.ask()


@shared_task(name="labqueue.planning.tasks.thin")
def thin() -> None:
    """Drop old forecasts but for one an hour."""
    history.thin(timezone.now())


@worker_init.connect
def warm_up(**_: object) -> None:
    """Compile or load the engine once, before the pool is forked: its processes inherit the compiled code.

    It runs on one thread here, so no lock or thread pool is inherited with it. In the processes themselves it could
    take longer than Celery waits for them to come up.
    """
    from labqueue import engine

    engine.warm_up()
