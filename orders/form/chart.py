"""The chart of the teeth as it is drawn: seen from the front, so the patient's right is on the left."""

from typing import NamedTuple

from orders import teeth

UPPER = (*range(18, 10, -1), *range(21, 29))
LOWER = (*range(48, 40, -1), *range(31, 39))
QUADRANTS = {"Upper right": UPPER[:8], "Upper left": UPPER[8:], "Lower right": LOWER[:8], "Lower left": LOWER[8:]}


class Place(NamedTuple):
    """One tooth of the chart: what it sends, what stands on it, and its words for who cannot see it."""

    fdi: str
    sign: str
    words: str


def rows(notation: str) -> list[tuple[str, list[Place]]]:
    """The quadrants as they are seen, in the practice's notation."""
    return [(name, [place(fdi, notation) for fdi in there]) for name, there in QUADRANTS.items()]


def place(fdi: int, notation: str) -> Place:
    """One tooth."""
    return Place(str(fdi), teeth.sign(fdi, notation), teeth.words(fdi))
