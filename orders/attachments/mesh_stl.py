"""STL, binary and text."""

from array import array
from collections.abc import Iterator
from typing import IO

import numpy as np

from orders.attachments.mesh import CHUNK, Triangles, Unusable, lines, numbers

# A header of 80 bytes, the number of triangles, then 50 bytes each: the normal, three corners, two bytes for nothing.
HEADER, FACET = 84, np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("rest", "<u2")])
WORDS = frozenset({b"solid", b"facet", b"outer", b"endloop", b"endfacet", b"endsolid"})


def stated(head: bytes) -> int:
    """How many triangles the header of a binary file speaks of."""
    return int.from_bytes(head[80:HEADER], "little")


def is_binary(head: bytes, size: int) -> bool:
    """Whether the stated number fits the size. That it begins with `solid` proves nothing: binary headers do, too."""
    return len(head) >= HEADER and size == HEADER + FACET.itemsize * stated(head)


def binary(file: IO[bytes]) -> Iterator[Triangles]:
    """Triangles of a binary file. The stated number has been compared with the size."""
    file.seek(HEADER)
    while data := file.read(CHUNK * FACET.itemsize):
        if len(data) % FACET.itemsize:
            raise Unusable("It ends in the middle of a triangle.")
        yield np.frombuffer(data, dtype=FACET)["corners"].astype(np.float32)


def text(file: IO[bytes]) -> Iterator[Triangles]:
    """Triangles of a file of text. Raises Unusable where a word or a corner is out of place."""
    file.seek(0)
    corners, last = array("f"), b""
    for number, words in lines(file):
        if not words:
            continue
        last = words[0].lower()
        if last == b"vertex" and len(words) == 4:
            corners.extend(numbers(words[1:], number))
        elif last not in WORDS:
            raise Unusable(f"Line {number} does not belong into an STL.")
        if last == b"endloop" and len(corners) % 9:
            raise Unusable(f"The facet that ends in line {number} has no three corners.")
        if last == b"endloop" and len(corners) == 9 * CHUNK:
            yield as_triangles(corners)
            corners = array("f")
    if last != b"endsolid" or len(corners) % 9:
        raise Unusable("It does not end with “endsolid”: a part of it is missing.")
    yield as_triangles(corners)


def as_triangles(corners: "array[float]") -> Triangles:
    """Nine numbers each."""
    return np.array(corners, dtype=np.float32).reshape(-1, 3, 3)
