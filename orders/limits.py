"""What a column of a piece can hold: the ends of its texts, the limits of its numbers."""

from collections.abc import Iterator
from typing import NamedTuple

from labqueue.base.errors import Fault
from orders.fields import column_label
from orders.models import Item
from orders.models.columns import LENGTHS_MM, NUMBERS

# In hundredths of a millimetre: no implant has a narrower or a wider platform.
PLATFORMS = range(200, 801)
LENGTHS = {
    "shade": 20,
    "system": 40,
    "catalogue": 40,
    "lot": 40,
    "scan_body": 40,
    "shade_guide": 40,
    "shade_cervical": 20,
    "shade_incisal": 20,
    "stump_shade": 20,
    "characterisation": 120,
}


class Wrong(NamedTuple):
    """A field of an item, and the sentence that says what would satisfy it."""

    field: str
    why: str


def fault_at(index: int, found: Wrong) -> Fault:
    """The fault of the piece at that place of the order."""
    return Fault(found.field, found.why, f"items.{index}.{found.field}")


def limits(item: Item) -> Iterator[Wrong]:
    """What does not fit into its column."""
    yield from platform_exists(item)
    yield from texts_fit(item)
    yield from numbers_fit(item)


def platform_exists(item: Item) -> Iterator[Wrong]:
    """A platform has a size that exists."""
    if item.platform is not None and item.platform not in PLATFORMS:
        least, most = PLATFORMS[0] / 100, PLATFORMS[-1] / 100
        yield Wrong("platform", f"A platform has from {least:g} to {most:g} mm, to the hundredth, such as 4.3.")


def texts_fit(item: Item) -> Iterator[Wrong]:
    """Texts have an end."""
    for field, most in LENGTHS.items():
        if len(getattr(item, field)) > most:
            label = column_label(field)
            yield Wrong(field, f"The {label} has more than {most} characters. Shorten it; the rest goes into the note.")


def numbers_fit(item: Item) -> Iterator[Wrong]:
    """Lengths and angles are such as there are."""
    for field, (least, most) in LENGTHS_MM.items():
        value = getattr(item, field)
        if field != "platform" and value is not None and not least <= value <= most:
            limits = f"from {least / 100:g} to {most / 100:g} mm, to the hundredth"
            yield Wrong(field, f"Give the {column_label(field)} {limits}, or leave it out.")
    least, most = NUMBERS["angle"]
    if item.angle is not None and not least <= item.angle <= most:
        yield Wrong("angle", f"Give the angle of the screw channel from {least} to {most} degrees, or leave it out.")
