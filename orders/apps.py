"""The room of orders."""

from django.apps import AppConfig


class OrdersConfig(AppConfig):
    name = "orders"

    def ready(self) -> None:
        """Know the work that orders leave behind, in every process."""
        from orders import tasks  # noqa: F401
