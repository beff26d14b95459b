"""The room of planning."""

from django.apps import AppConfig


class PlanningConfig(AppConfig):
    name = "labqueue.planning"
    label = "planning"

    def ready(self) -> None:
        """Know the work that planning does, in every process."""
        from labqueue.planning import tasks  # noqa: F401
