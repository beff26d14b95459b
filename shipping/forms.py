"""What is typed at the shipping desk. Forms parse; verbs write."""

from django import forms

from labqueue.base.forms import HouseForm


class DispatchForm(HouseForm):
    """Who takes the box."""

    carrier = forms.CharField(label="Carrier", max_length=40)
    tracking = forms.CharField(label="Tracking number", max_length=40, required=False)
