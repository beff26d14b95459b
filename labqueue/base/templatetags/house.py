"""Template tags and filters that every page may use without loading them."""

from datetime import datetime

from django import template
from django.utils import timezone

register = template.Library()


@register.filter
def moment(at: datetime | None) -> str:
    """An instant in the laboratory's zone with its weekday: `Tue 24 Nov, 16:30`."""
    return timezone.localtime(at).strftime("%a %-d %b, %H:%M") if at else "—"


@register.filter
def age(at: datetime | None) -> str:
    """How old something is, in one unit: `3 min`."""
    if at is None:
        return "never"
    seconds = max(0, int((timezone.now() - at).total_seconds()))
    for size, unit in ((86_400, "d"), (3_600, "h"), (60, "min")):
        if seconds >= size:
            return f"{seconds // size} {unit}"
    return f"{seconds} s"


@register.filter
def percent(share: float | None) -> str:
    """A probability for people: `12 %`; never 0 or 100 where it is not sure."""
    if share is None:
        return "—"
    if 0 < share < 0.01:
        return "< 1 %"
    if 0.99 < share < 1:
        return "> 99 %"
    return f"{share * 100:.0f} %"
