"""The room of shipping."""

from django.apps import AppConfig


class ShippingConfig(AppConfig):
    name = "shipping"
