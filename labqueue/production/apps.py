"""The room of production."""

from django.apps import AppConfig


class ProductionConfig(AppConfig):
    name = "labqueue.production"
    label = "production"
