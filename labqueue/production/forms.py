"""What is typed, scanned or filled in on the pages of the floor. Forms parse; verbs write."""

from uuid import UUID

from django import forms
from django.http import QueryDict

from labqueue.base.errors import refuse
from labqueue.base.forms import HouseForm
from labqueue.production.lots import label, needed
from labqueue.production.models import Scan, Station


def split_line(line: str) -> tuple[str, str | None]:
    """A line from a scanner as code and action: `2600042017`, `2600042017 start`, `2600042017 done`, in any case."""
    words = line.split()
    action = words[-1].lower() if words else ""
    if action in Scan.Action.values:
        return " ".join(words[:-1]), action
    return " ".join(words), None


def read_key(text: str) -> UUID:
    """The key that came with a line. Raises Refusal where it is none."""
    try:
        return UUID(text)
    except ValueError as error:
        raise refuse("key", "This page sent no key with the scan. Open the station again.", "key") from error


class LotForm(HouseForm):
    """A lot that is put into use at a station."""

    what = forms.ChoiceField(label="For")
    number = forms.CharField(label="Lot number", max_length=20, help_text="As printed on the label.")
    product = forms.CharField(label="Product", max_length=80, required=False, help_text="Only for a lot seen first.")
    expires = forms.DateField(
        label="Expires", required=False, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )

    def __init__(self, station: Station, data: QueryDict | None = None) -> None:
        super().__init__(data)
        self.choices = [(what, label(what)) for what in needed(station)]
        self.fields["what"] = forms.ChoiceField(label="For", choices=self.choices)
