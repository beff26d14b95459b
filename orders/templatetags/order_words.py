"""Orders in words, for templates."""

from datetime import datetime

from django import template

from orders import words
from orders.models import OVER_STATES, Case, Item, Practice, Prescription

register = template.Library()
register.filter("piece", words.piece)
register.filter("when", words.when)


@register.filter
def tooth(item: Item, practice: Practice) -> dict[str, str]:
    """The tooth of a piece, for the part `tooth.html`."""
    return words.tooth(item.tooth, practice)


@register.filter
def teeth_of(prescription: Prescription | None, practice: Practice) -> list[tuple[dict[str, str], list[str]]]:
    """The teeth of a version with the words for their pieces."""
    return words.by_tooth(prescription.items.all(), practice) if prescription else []


@register.filter
def state_word(case: Case) -> str:
    """The state of a case."""
    return words.state(case)[0]


@register.filter
def state_tone(case: Case) -> str:
    """The tone that goes with it."""
    return words.state(case)[1]


@register.filter
def is_over(at: datetime | None, case: Case) -> bool:
    """Whether a date of the case no longer counts."""
    return case.state in OVER_STATES
