"""What every room uses."""

from django.apps import AppConfig


class BaseConfig(AppConfig):
    name = "labqueue.base"
    label = "base"
    verbose_name = "Base"
