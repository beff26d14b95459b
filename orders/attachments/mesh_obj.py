"""OBJ: points and the faces between them; nothing that asks for another file."""

from array import array
from collections.abc import Iterator
from typing import IO

import numpy as np

from orders.attachments.mesh import CHUNK, Triangles, Unusable, lines, numbers, whole

MOST_POINTS = 2_000_000
# Words whose lines say nothing about the surface.
PASSED = frozenset({b"vn", b"vt", b"g", b"o", b"s", b"usemtl"})
WORDS = PASSED | {b"v", b"f"}
OTHER_FILES = frozenset({b"mtllib", b"call", b"csh", b"maplib", b"usemap", b"shadow_obj", b"trace_obj"})


def triangles(file: IO[bytes]) -> Iterator[Triangles]:
    """Triangles of a file; a face of four corners is two. Raises Unusable for a line that does not belong there."""
    file.seek(0)
    points, corners = array("f"), array("l")
    for number, words in lines(file):
        word = words[0] if words else b"#"
        if word == b"v":
            points.extend(point(words, number, len(points) // 3))
        elif word == b"f":
            corners.extend(face(words[1:], number, len(points) // 3))
        elif not word.startswith(b"#") and word not in PASSED:
            raise Unusable(other(word, number))
        if len(corners) >= 3 * CHUNK:
            yield as_triangles(points, corners)
            corners = array("l")
    if corners:
        yield as_triangles(points, corners)


def other(word: bytes, number: int) -> str:
    """Why a line is not taken."""
    if word in OTHER_FILES:
        return f"Line {number} asks for another file. Save it without materials and textures."
    return f"Line {number} does not belong into an OBJ of points and faces."


def point(words: list[bytes], number: int, known: int) -> list[float]:
    """A point; a weight or colours after it are left out."""
    if len(words) < 4:
        raise Unusable(f"The point in line {number} has no three coordinates.")
    if known >= MOST_POINTS:
        raise Unusable(f"It has more than {MOST_POINTS:,} points.")
    return numbers(words[1:4], number)


def face(words: list[bytes], number: int, known: int) -> list[int]:
    """The corners of one or two triangles, counted from 0; those before 1 in the file count back from here."""
    if len(words) not in (3, 4):
        raise Unusable(f"The face in line {number} has {len(words)} corners. Save it as triangles.")
    found = [at - 1 if at > 0 else known + at for at in whole([word.partition(b"/")[0] for word in words], number)]
    if not all(0 <= at < known for at in found):
        raise Unusable(f"The face in line {number} has a corner that is not among the points before it.")
    return found if len(found) == 3 else [*found[:3], found[0], *found[2:]]


def as_triangles(points: "array[float]", corners: "array[int]") -> Triangles:
    """By the numbers of their corners."""
    found: Triangles = np.frombuffer(points, dtype=np.float32).reshape(-1, 3)[np.array(corners).reshape(-1, 3)]
    return found
