"""The roles of the people who use the service."""

from django.db import models


class Role(models.TextChoices):
    """What a person is here for. One person has one role; what it may open stands in `labqueue.access`."""

    PRACTICE = "practice", "Practice"
    TECHNICIAN = "technician", "Technician"
    MANAGER = "manager", "Lab manager"
    SHIPPING = "shipping", "Shipping"
    ADMIN = "admin", "Administrator"


LABORATORY = frozenset({Role.TECHNICIAN, Role.MANAGER, Role.SHIPPING, Role.ADMIN})
EVERYBODY = frozenset(Role)
