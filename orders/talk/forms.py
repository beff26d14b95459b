"""The forms of a conversation. They parse and print; verbs write."""

from typing import Any

from django import forms

from labqueue.base.forms import HouseForm
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
