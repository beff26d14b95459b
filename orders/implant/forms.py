"""What a second person reads off label or scan body. Nothing is filled in: it is read, not agreed to."""

from typing import Any

from django import forms
from django.http import QueryDict

from labqueue.base.forms import HouseForm
from orders.choices import Level
from orders.materials import Connection
from orders.models import Confirmation, Item
from orders.teeth import Notation


class ConfirmationForm(HouseForm):
    """One piece. The prefix is its line in the prescription."""

    system = forms.CharField(
        label="Implant system", max_length=40, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    connection = forms.ChoiceField(label="Connection", choices=[("", "Choose"), *Connection.choices])
    platform = forms.DecimalField(
        label="Platform, mm",
        max_digits=5,
        decimal_places=2,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "size": 5, "autocomplete": "off"}),
    )
    level = forms.ChoiceField(label="Level", choices=[("", "Choose"), *Level.choices])
    source = forms.ChoiceField(label="Read off", choices=Confirmation.Source.choices, widget=forms.RadioSelect)

    def __init__(self, item: Item, data: QueryDict | None = None) -> None:
        super().__init__(data, prefix=str(item.line))
        self.item = item

    def facts(self) -> dict[str, Any]:
        """As `orders.implant.confirm` takes them. Call it after `is_valid`."""
        piece = {"tooth": str(self.item.tooth), "notation": Notation.FDI, "kind": self.item.kind}
        return {**piece, **self.cleaned_data}
