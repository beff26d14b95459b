"""The top room: it wires the others together."""

from django.apps import AppConfig


class LabqueueConfig(AppConfig):
    name = "labqueue"
    label = "labqueue"
    verbose_name = "Laboratory"

    def ready(self) -> None:
        """Make the Celery application the default one, so that a task sent from a page reaches our broker."""
        from labqueue import celery  # noqa: F401
