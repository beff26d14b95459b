"""The room of shipping."""

from django.apps import AppConfig


class ShippingConfig(AppConfig):
    name = "shipping"

    def ready(self) -> None:
        """Make the handlers of the outbox known, in every process."""
        from shipping import tasks  # noqa: F401
