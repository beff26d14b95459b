"""Columns that many tables share, and the checks that go with them."""

from collections.abc import Mapping
from datetime import datetime

from django.db import models
from django.db.models import Q

# Lengths are kept in hundredths of a millimetre; the least and the most that is no slip of the pen. Below zero a margin
# lies under the gum.
LENGTHS_MM: dict[str, tuple[int, int]] = {
    "platform": (200, 800),
    "margin_facial": (-500, 300),
    "margin_lingual": (-500, 300),
    "margin_mesial": (-500, 300),
    "margin_distal": (-500, 300),
    "gingival_facial": (0, 800),
    "gingival_lingual": (0, 800),
    "gingival_mesial": (0, 800),
    "gingival_distal": (0, 800),
    "scan_platform": (200, 800),
    "chimney": (0, 1500),
    "height": (100, 3000),
    "implant_length": (300, 3000),
}
# Other numbers: degrees from the axis of the implant, and minutes in the disinfectant.
NUMBERS: dict[str, tuple[int, int]] = {"angle": (0, 60), "disinfected_minutes": (1, 1440)}


def millimetres(hundredths: int | None) -> str:
    """A length for people: `4.3 mm`; empty where there is none."""
    return "" if hundredths is None else f"{hundredths / 100:g} mm"


def text(length: int) -> "models.CharField[str, str]":
    """A text that may be missing."""
    return models.CharField(max_length=length, blank=True, default="")


def word(choices: type[models.TextChoices], default: str = "", length: int = 14) -> "models.CharField[str, str]":
    """One of these words, or none yet."""
    return models.CharField(max_length=length, choices=choices.choices, blank=True, default=default)


def number() -> "models.PositiveSmallIntegerField[int | None, int | None]":
    """A number of something, or a length in hundredths of a millimetre; nothing where it is not known."""
    return models.PositiveSmallIntegerField(null=True, blank=True)


def below_or_above() -> "models.SmallIntegerField[int | None, int | None]":
    """A height in hundredths of a millimetre, minus is below."""
    return models.SmallIntegerField(null=True, blank=True)


def instant() -> "models.DateTimeField[datetime | None, datetime | None]":
    """When something happened, if it did."""
    return models.DateTimeField(null=True, blank=True)


def known(table: str, words: Mapping[str, type[models.TextChoices]]) -> list[models.BaseConstraint]:
    """Each of these columns holds one of its words, or nothing."""
    return [
        models.CheckConstraint(condition=Q(**{f"{name}__in": [*choices.values, ""]}), name=f"{table}_{name}_known")
        for name, choices in words.items()
    ]


def within(table: str, limits: Mapping[str, tuple[int, int]]) -> list[models.BaseConstraint]:
    """Each of these numbers lies between its limits, or is not known."""
    return [
        models.CheckConstraint(
            condition=Q(**{f"{name}__isnull": True}) | Q(**{f"{name}__gte": least, f"{name}__lte": most}),
            name=f"{table}_{name}_within",
        )
        for name, (least, most) in limits.items()
    ]
