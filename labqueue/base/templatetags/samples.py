"""What the page of parts shows. Invented; no other page loads it."""

from datetime import timedelta
from typing import Any

from django import forms, template
from django.core.paginator import Page, Paginator
from django.utils import timezone

from labqueue.base.errors import Fault, Refusal
from labqueue.base.forms import HouseForm

register = template.Library()


class SampleForm(HouseForm):
    """One field of every kind."""

    reference = forms.CharField(
        label="Patient reference", help_text="A code of the practice, such as K-2041.", max_length=12
    )
    material = forms.ChoiceField(label="Material", choices=[("", "Choose"), ("zr", "Zirconia"), ("ti", "Titanium")])
    seat = forms.DateField(label="Seat appointment", widget=forms.DateInput(attrs={"type": "date"}))
    retention = forms.ChoiceField(
        label="Retention", choices=[("screw", "Screw-retained"), ("cement", "Cemented")], widget=forms.RadioSelect
    )
    note = forms.CharField(label="Note to the laboratory", required=False, widget=forms.Textarea(attrs={"rows": 3}))
    photos = forms.BooleanField(label="Photos follow", required=False)


@register.simple_tag
def samples() -> dict[str, Any]:
    """Context of the page: outlooks, dates, a refusal, a form with faults and a page of a list."""
    now = timezone.now()
    return {
        "outlooks": [outlook(late) for late in (0.004, 0.17, 0.38, 0.81)],
        "today": timezone.localdate(),
        "soon": timezone.localdate() + timedelta(days=5),
        "past": timezone.localdate() - timedelta(days=2),
        "now": now,
        "before": now - timedelta(hours=3),
        "refusal": Refusal([Fault("tooth", "Tooth 9 has no notation: choose FDI (ISO 3950) or Universal.", "tooth")]),
        "form": SampleForm({"reference": "K-2041-2041-2041", "retention": "screw"}),
        "page": sample_page(),
    }


def outlook(late: float) -> dict[str, Any]:
    """A forecast with that probability of being late."""
    now = timezone.now()
    ready, sure = now + timedelta(hours=20), now + timedelta(hours=29)
    low, high = max(0.0, late - 0.04), min(1.0, late + 0.06)
    return {
        "late": late,
        "late_low": low,
        "late_high": high,
        "made_at": now - timedelta(minutes=3),
        "p50": ready,
        "p80": sure,
    }


def sample_page() -> Page[int]:
    """The second of three pages."""
    return Paginator(range(1, 61), 25).page(2)
