"""The Celery application. A message is only a hint: what must be done stands in the outbox table, under a lease."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labqueue.settings")

from django.conf import settings

from labqueue import environment

# Longer than the longest task, so that the broker does not hand out work that is still running.
VISIBILITY_TIMEOUT = 900

app = Celery("labqueue")
app.conf.update(
    **environment.transport(settings.REDIS_URL, VISIBILITY_TIMEOUT),
    broker_connection_retry_on_startup=True,
    broker_connection_max_retries=None,
    accept_content=["json"],
    task_serializer="json",
    task_ignore_result=True,
    task_acks_late=True,
    task_reject_on_worker_lost=True,
    task_time_limit=VISIBILITY_TIMEOUT - 300,
    worker_prefetch_multiplier=1,
    # A new pool process loads the engine first, or compiles it. Celery would kill it after 4 s, again and again.
    worker_proc_alive_timeout=300,
    worker_max_tasks_per_child=500,
    worker_hijack_root_logger=False,
    timezone="UTC",
    beat_schedule={
        "outbox: send what is due": {"task": "labqueue.base.tasks.sweep_outbox", "schedule": 10.0},
        "outbox: forget what ended long ago": {"task": "labqueue.base.tasks.purge_outbox", "schedule": 86_400.0},
        "orders: remind practices": {"task": "orders.tasks.remind_practices", "schedule": 600.0},
        "forecast: notice what changed": {"task": "labqueue.planning.tasks.notice_changes", "schedule": 5.0},
        "forecast: thin out old ones": {"task": "labqueue.planning.tasks.thin", "schedule": 3600.0},
    },
)
app.autodiscover_tasks(["labqueue.base", "orders", "labqueue.production", "labqueue.planning", "shipping"])
