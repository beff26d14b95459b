"""The forms of a conversation. They parse and print; verbs write."""

from decimal import Decimal
from typing import Any

from django import forms

from labqueue.base.forms import HouseForm
from orders.models import Attachment, Case, Item
from orders.talk.ask_approval import FIGURES, named, shown_to
from orders.talk.text import LENGTH

# What is half written stays when the conversation around it is shown anew.
KEPT = {"hx-preserve": "true"}


class TextForm(HouseForm):
    """One text. `at` names its place on the page: the number of a message that it answers, or `note`."""

    text = forms.CharField(
        max_length=LENGTH,
        widget=forms.Textarea(attrs={"rows": 3, **KEPT}),
        error_messages={"required": "Write what is to be said."},
    )

    def __init__(self, at: str, label: str, data: Any = None) -> None:
        super().__init__(data, auto_id=f"say-{at}-%s")
        self.at = at
        self.fields["text"].label = label


class DesignForm(HouseForm):
    """A design to be shown, and what was measured in it."""

    at = "design"
    attachment = forms.ModelChoiceField(label="Design", queryset=Attachment.objects.none(), empty_label=None)
    line = forms.TypedChoiceField(label="Measured piece", coerce=int, empty_value=None, required=False)
    text = forms.CharField(
        label="What the practice should look at",
        max_length=LENGTH,
        widget=forms.Textarea(attrs={"rows": 2, **KEPT}),
        error_messages={"required": "Write what the practice should look at."},
    )

    def __init__(self, case: Case, data: Any = None) -> None:
        super().__init__(data, auto_id="design-%s", initial={"text": "Please look at the design before it is milled."})
        chosen: Any = self.fields["attachment"]
        chosen.queryset = shown_to(case)
        pieces: Any = self.fields["line"]
        pieces.choices = [("", "None"), *((item.line, named(case, item)) for item in items_of(case))]
        for name in FIGURES:
            self.fields[name] = forms.DecimalField(
                label=f"{name.capitalize()}, {'°' if name == 'angle' else 'mm'}",
                required=False,
                widget=forms.TextInput(attrs={"inputmode": "decimal", "size": 5, **KEPT}),
            )
        self.order_fields(["attachment", "text", "line", *FIGURES])

    @property
    def figures(self) -> dict[str, Decimal]:
        """What was measured."""
        return {name: self.cleaned_data[name] for name in FIGURES if self.cleaned_data[name] is not None}


def items_of(case: Case) -> list[Item]:
    """The pieces that are signed."""
    return list(case.current.items.order_by("line")) if case.current else []
