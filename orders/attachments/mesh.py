"""What the readers of meshes share. Each gives triangles piece by piece, so that no file decides how much memory is
taken, and trusts no number that the file states about itself."""

from collections.abc import Iterator
from typing import IO, NamedTuple

import numpy as np
from numpy.typing import NDArray

# Triangles at a time: arrays of shape (up to CHUNK, 3 corners, 3 coordinates), float32, in millimetres.
CHUNK = 100_000
Triangles = NDArray[np.float32]
# Characters of a line in formats of text.
LONGEST = 1000
# How far from the origin a point of a mouth can be, in millimetres, and what a surface has at least.
REACH, FEWEST = 500.0, 4


class Unusable(ValueError):
    """A file that cannot be worked with; the sentence says why and what would do."""


class Measure(NamedTuple):
    """A mesh in figures: number of triangles, its lowest and highest coordinates in millimetres."""

    triangles: int
    low: NDArray[np.float32]
    high: NDArray[np.float32]


def checked(piece: Triangles) -> Triangles:
    """The triangles themselves. Raises Unusable for a coordinate that is no number, or no place in a mouth."""
    if not np.isfinite(piece).all():
        raise Unusable("It has a coordinate that is no number. Save it again from the scanner's program.")
    if np.abs(piece).max(initial=0) > REACH:
        raise Unusable(f"It reaches farther than {REACH:.0f} mm from its origin. Save it in millimetres.")
    return piece


def joined(a: Measure | None, piece: Triangles) -> Measure:
    """A measure with some more triangles."""
    points = piece.reshape(-1, 3)
    low, high = points.min(axis=0), points.max(axis=0)
    if a is None:
        return Measure(len(piece), low, high)
    return Measure(a.triangles + len(piece), np.minimum(a.low, low), np.maximum(a.high, high))


def measured(pieces: Iterator[Triangles]) -> Measure:
    """All triangles in figures. Raises Unusable where they make up no surface."""
    found: Measure | None = None
    for piece in pieces:
        if len(piece):
            found = joined(found, checked(piece))
    if found is None or found.triangles < FEWEST:
        raise Unusable(f"It has fewer than {FEWEST} triangles: there is no surface in it.")
    if np.count_nonzero(found.high - found.low) < 2:
        raise Unusable("All its points lie on one line: there is no surface in it.")
    return found


def lines(file: IO[bytes]) -> Iterator[tuple[int, list[bytes]]]:
    """The words of each line with its number. Raises Unusable for a line without end."""
    number = 0
    while line := file.readline(LONGEST + 1):
        number += 1
        if len(line) > LONGEST:
            raise Unusable(f"Line {number} has more than {LONGEST} characters.")
        yield number, line.split()


def numbers(words: list[bytes], line: int) -> list[float]:
    """Words as numbers. Raises Unusable naming the line."""
    try:
        return [float(word) for word in words]
    except ValueError:
        raise Unusable(f"Line {line} has something else where a number belongs.") from None


def whole(words: list[bytes], line: int) -> list[int]:
    """Words as whole numbers. Raises Unusable naming the line."""
    if not all(word.removeprefix(b"-").isdigit() and len(word) <= 10 for word in words):
        raise Unusable(f"Line {line} has something else where a whole number belongs.")
    return [int(word) for word in words]
