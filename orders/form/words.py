"""The fields that the two forms of an order are made of."""

from collections.abc import Iterable
from typing import Any

from django import forms
from django.db.models import TextChoices

# As text: what a field says of which nothing was said. A length of 0 is said.
UNSAID = ("", "None", "False")


def read(form: forms.Form, name: str) -> Any:
    """What was read of a field; as if nothing was said where it cannot be read."""
    return form.cleaned_data[name] if name in form.cleaned_data else form.fields[name].to_python("")


def said_in(form: forms.Form, names: Iterable[str]) -> str:
    """What is said in these fields, for the line over a fold: the label of each, and of a list the word chosen."""
    return "; ".join(said_of(form[name]) for name in names if str(form[name].value()) not in UNSAID)


def said_of(bound: forms.BoundField) -> str:
    """One field and, where it is one word of a list, that word."""
    word = dict(getattr(bound.field, "choices", ())).get(str(bound.value()))
    return f"{bound.label}: {word}" if word else str(bound.label)


def select(label: str, words: type[TextChoices], unsaid: str = "Not said", help_text: str = "") -> forms.ChoiceField:
    """One word of a list, or none."""
    return forms.ChoiceField(label=label, required=False, choices=[("", unsaid), *words.choices], help_text=help_text)


def several(label: str, words: type[TextChoices], help_text: str = "") -> forms.MultipleChoiceField:
    """Several words of a list."""
    widget = forms.CheckboxSelectMultiple
    return forms.MultipleChoiceField(
        label=label, required=False, choices=words.choices, widget=widget, help_text=help_text
    )


def text(label: str, help_text: str = "", **attributes: Any) -> forms.CharField:
    """A short text. Its end is said by the rules, not by the browser."""
    widget = forms.TextInput(attrs={"autocomplete": "off", **attributes})
    return forms.CharField(label=label, required=False, help_text=help_text, widget=widget)


class LengthField(forms.DecimalField):
    """A number with a point or, as much of the world writes it, a comma before the decimals."""

    def to_python(self, value: Any) -> Any:
        """The number, or None. Lengths are far below a thousand, so no comma parts those."""
        return super().to_python(value.replace(",", ".") if isinstance(value, str) else value)


def length(label: str, help_text: str = "") -> LengthField:
    """Millimetres."""
    widget = forms.TextInput(attrs={"inputmode": "decimal", "size": 5, "autocomplete": "off"})
    return LengthField(label=label, required=False, widget=widget, help_text=help_text)


def whole(label: str, help_text: str = "") -> forms.IntegerField:
    """A whole number."""
    widget = forms.TextInput(attrs={"inputmode": "numeric", "size": 4, "autocomplete": "off"})
    return forms.IntegerField(label=label, required=False, widget=widget, help_text=help_text)


def tick(label: str, help_text: str = "") -> forms.BooleanField:
    """Yes where it is ticked."""
    return forms.BooleanField(label=label, required=False, help_text=help_text)


def day(label: str, help_text: str = "") -> forms.DateField:
    """A date."""
    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    return forms.DateField(label=label, required=False, widget=widget, help_text=help_text)
