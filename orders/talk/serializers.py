"""The conversation as JSON. Serializers parse and print; verbs write."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from orders.models import Message
from orders.talk.approve import APPROVE, CHANGE
from orders.talk.ask_approval import FIGURES
from orders.talk.reads import Line


class TextIn(serializers.Serializer[Message]):
    """What is said."""

    text = serializers.CharField(allow_blank=True)


class FiguresIn(serializers.Serializer[Any]):
    """What was measured in a design: millimetres, the angle in degrees. What was not measured is left out."""

    wall = serializers.DecimalField(max_digits=8, decimal_places=4, required=False)
    angle = serializers.DecimalField(max_digits=8, decimal_places=4, required=False)
    collar = serializers.DecimalField(max_digits=8, decimal_places=4, required=False)
    post = serializers.DecimalField(max_digits=8, decimal_places=4, required=False)


class DesignIn(TextIn):
    """A design to be shown."""

    attachment = serializers.IntegerField(help_text="The id of a file of this case with the role design.")
    line = serializers.IntegerField(allow_null=True, default=None, help_text="The piece that was measured.")
    figures = FiguresIn(default=dict)


class DecisionIn(serializers.Serializer[Message]):
    """What becomes of a design."""

    decision = serializers.CharField(help_text=f"{APPROVE} or {CHANGE}")
    text = serializers.CharField(allow_blank=True, default="", help_text="What is to be changed.")


class FiguresOut(serializers.Serializer[Any]):
    """As they were measured."""

    line = serializers.IntegerField(required=False)
    piece = serializers.CharField(required=False)
    wall = serializers.CharField(required=False)
    angle = serializers.CharField(required=False)
    collar = serializers.CharField(required=False)
    post = serializers.CharField(required=False)


class MessageOut(serializers.Serializer[Line]):
    """One thing that was said."""

    id = serializers.IntegerField(source="message.pk")
    kind = serializers.CharField(source="message.kind")
    text = serializers.CharField(source="message.text")
    by = serializers.CharField(source="speaker")
    at = serializers.DateTimeField(source="message.at")
    open = serializers.BooleanField(source="is_open", help_text="The case stands still for it.")
    answers = serializers.IntegerField(source="message.answers_id", allow_null=True)
    attachment = serializers.IntegerField(source="message.attachment_id", allow_null=True)
    missing = serializers.ListField(
        source="message.fields", child=serializers.CharField(), help_text="The fields that are missing."
    )
    figures = FiguresOut(source="message.figures")
    reminded = serializers.SerializerMethodField()

    def get_reminded(self, line: Line) -> list[str]:
        """When the practice was reminded."""
        field = serializers.DateTimeField()
        return [str(field.to_representation(reminder.at)) for reminder in line.message.reminders.all()]


def figures_of(data: dict[str, Any]) -> dict[str, Decimal]:
    """What was measured, as the verb takes it."""
    return {name: data[name] for name in FIGURES if name in data}
