"""How a search is read from an address. Nothing is checked here but that no patient stands in it."""

from typing import Any

from rest_framework import serializers

from orders.day.search import Wanted
from orders.order_serializers import text
from orders.reads import ALL


class SearchIn(serializers.Serializer[Wanted]):
    """What is looked for. All that is given must be true of a case, and of one and the same piece of it."""

    state = serializers.CharField(
        allow_blank=True, default=ALL, help_text="A state, `open` or `hold`; all where it is left out."
    )
    tooth = text("As it is written in the notation, such as 8, 11 or UR1.")
    notation = text("fdi, universal or palmer")
    system = text("A part of the name of the implant system.")
    lot = text("The lot or the catalogue number of the implant.")
    seat_from = serializers.DateField(
        allow_null=True, default=None, help_text="The first day of the appointment, in the laboratory's zone."
    )
    seat_to = serializers.DateField(allow_null=True, default=None, help_text="Its last day.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Addresses are kept in logs, so a patient is not looked for in one, not even to no avail."""
        if "patient_ref" in self.initial_data:
            why = "A patient reference never stands in an address. Leave it out, and look for the tooth, say."
            raise serializers.ValidationError({"patient_ref": why})
        return attrs

    def wanted(self) -> Wanted:
        """As the search takes it."""
        return Wanted(**self.validated_data)
