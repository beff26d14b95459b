"""Teeth: kept in FDI notation (ISO 3950), shown in the practice's notation with the words, never read without one.

18 of the 32 numbers mean one tooth in FDI and another in Universal notation, so a bare number is refused.
"""

from django.db import models

from labqueue.base.errors import refuse

QUADRANTS = {1: "upper right", 2: "upper left", 3: "lower left", 4: "lower right"}
PALMER = {1: "UR", 2: "UL", 3: "LL", 4: "LR"}
NAMES = {
    1: "central incisor",
    2: "lateral incisor",
    3: "canine",
    4: "first premolar",
    5: "second premolar",
    6: "first molar",
    7: "second molar",
    8: "third molar",
}
PERMANENT = tuple(quadrant * 10 + place for quadrant in QUADRANTS for place in NAMES)


class Notation(models.TextChoices):
    """How a practice writes teeth."""

    FDI = "fdi", "FDI (ISO 3950)"
    UNIVERSAL = "universal", "Universal (1-32)"
    PALMER = "palmer", "Palmer (UR1-LR8)"


NOTATION_NAMES: dict[str, str] = {Notation.FDI: "FDI", Notation.UNIVERSAL: "Universal", Notation.PALMER: "Palmer"}


def read(text: str, notation: str, field: str = "tooth") -> int:
    """The FDI number of a tooth as it was written: `read("8", "universal")` is 11.

    Raises Refusal naming `field` where the notation is missing or has no such tooth.
    """
    if notation not in Notation.values:
        why = f"Say in which notation “{text[:8]}” is written: fdi, universal or palmer. Bare, it can mean two teeth."
        raise refuse("notation", why, field)
    value, by_sign = unadorned(text.strip().upper(), notation), {sign(tooth, notation): tooth for tooth in PERMANENT}
    if value not in by_sign:
        label = Notation(notation).label
        raise refuse("tooth", f"“{text[:8]}” is no permanent tooth in {label} notation.", field)
    return by_sign[value]


def unadorned(value: str, notation: str) -> str:
    """Without what each notation may carry: the point between the two digits of FDI, the number sign of Universal."""
    if notation == Notation.FDI and value[1:2] == ".":
        return value[:1] + value[2:]
    return value.removeprefix("#") if notation == Notation.UNIVERSAL else value


def sign(tooth: int, notation: str) -> str:
    """An FDI number in a notation: `sign(11, "universal")` is `8`."""
    quadrant, place = divmod(tooth, 10)
    if notation == Notation.UNIVERSAL:
        return str({1: 9 - place, 2: 8 + place, 3: 25 - place, 4: 24 + place}[quadrant])
    return f"{PALMER[quadrant]}{place}" if notation == Notation.PALMER else str(tooth)


def words(tooth: int) -> str:
    """An FDI number in words: `upper right central incisor`."""
    quadrant, place = divmod(tooth, 10)
    return f"{QUADRANTS[quadrant]} {NAMES[place]}"


def shown(tooth: int, notation: str) -> str:
    """For people: `8 Universal, upper right central incisor`."""
    return f"{sign(tooth, notation)} {NOTATION_NAMES[notation]}, {words(tooth)}"


def is_anterior(tooth: int) -> bool:
    """Incisors and canines."""
    return tooth % 10 <= 3


def is_molar(tooth: int) -> bool:
    """The sixth to eighth tooth of a quadrant."""
    return tooth % 10 >= 6


def is_third_molar(tooth: int) -> bool:
    """The wisdom teeth."""
    return tooth % 10 == 8
