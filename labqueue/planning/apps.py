"""The room of planning."""

from django.apps import AppConfig


class PlanningConfig(AppConfig):
    name = "labqueue.planning"
    label = "planning"
