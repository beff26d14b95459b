"""How forms look: a form of a room extends `HouseForm` and is printed by `{{ form }}` with the parts of the house."""

from django import forms
from django.forms.renderers import DjangoTemplates


class HouseRenderer(DjangoTemplates):
    """Django's widgets inside the parts of the house: label, help, faults and input bound together."""

    form_template_name = "base/parts/form.html"
    field_template_name = "base/parts/field.html"


class HouseForm(forms.Form):
    """For every form that people fill in. It parses and prints; verbs write."""

    default_renderer = HouseRenderer
