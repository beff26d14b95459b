"""PLY, binary in both byte orders and text: points, then triangles."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import IO

import numpy as np
from numpy.typing import NDArray

from orders.attachments.mesh import CHUNK, Triangles, Unusable, lines, numbers, whole

HEADER, MOST_POINTS = 4096, 2_000_000
FORMATS = {b"ascii": "", b"binary_little_endian": "<", b"binary_big_endian": ">"}
CODES = ("i1", "u1", "i2", "u2", "i4", "u4", "f4", "f8")
OLD_NAMES = dict(zip(b"char uchar short ushort int uint float double".split(), CODES, strict=True))
TYPES = OLD_NAMES | dict(zip(b"int8 uint8 int16 uint16 int32 uint32 float32 float64".split(), CODES, strict=True))
ELEMENT = re.compile(rb"element (vertex|face) (\d{1,9})")
SIMPLE = "Save it as points and triangles only."


@dataclass(frozen=True)
class Header:
    """What the file states: where its rows begin, how many there are, and what each consists of."""

    order: str
    begin: int
    points: int
    faces: int
    point: np.dtype[np.void]
    face: np.dtype[np.void]

    @property
    def size(self) -> int:
        """The bytes of a binary file that is as it says; the fewest of a file of text."""
        if self.order:
            return self.begin + self.points * self.point.itemsize + self.faces * self.face.itemsize
        return self.begin + 2 * self.points * len(self.point.names or ()) + 8 * self.faces - 1


def header(head: bytes, size: int) -> Header:
    """What a file states. Raises Unusable where that cannot be, so that nothing is reserved for it."""
    text, mark, _ = head[:HEADER].replace(b"\r\n", b"\n").partition(b"\nend_header\n")
    if not mark:
        raise Unusable(f"The header of a PLY ends with “end_header” within {HEADER} bytes; this one does not.")
    rows = [line for line in text.split(b"\n")[1:] if not line.startswith((b"comment", b"obj_info"))]
    order = FORMATS.get(rows[0].removeprefix(b"format ").removesuffix(b" 1.0")) if rows else None
    if order is None:
        raise Unusable("The header of a PLY names its format, such as “binary_little_endian 1.0”; this one does not.")
    begin = re.search(rb"\nend_header\r?\n", head)
    assert begin is not None
    points, faces, point, face = elements(rows[1:], order or "<")
    found = Header(order, begin.end(), points, faces, point, face)
    if points > MOST_POINTS:
        raise Unusable(f"It states {points:,} points; up to {MOST_POINTS:,} are taken.")
    if size < found.size or (order and size != found.size):
        why = f"It states {points:,} points and {faces:,} triangles, which are {found.size:,} bytes; it has {size:,}."
        raise Unusable(f"{why} {SIMPLE}")
    return found


def elements(rows: list[bytes], order: str) -> tuple[int, int, np.dtype[np.void], np.dtype[np.void]]:
    """The two numbers of rows, and the columns of each."""
    starts = [number for number, row in enumerate(rows) if row.startswith(b"element")]
    if len(starts) != 2 or starts[0] != 0:
        raise Unusable(f"Its header has other elements than “vertex” and “face”. {SIMPLE}")
    vertex, face = ELEMENT.fullmatch(rows[0]), ELEMENT.fullmatch(rows[starts[1]])
    if vertex is None or face is None or (vertex[1], face[1]) != (b"vertex", b"face"):
        raise Unusable(f"Its header does not state how many points and then how many faces there are. {SIMPLE}")
    point = columns(rows[1 : starts[1]], order)
    if not {"x", "y", "z"} <= set(point.names or ()):
        raise Unusable("Its points have no x, y and z.")
    return int(vertex[2]), int(face[2]), point, columns(rows[starts[1] + 1 :], order, listed=True)


def columns(rows: list[bytes], order: str, listed: bool = False) -> np.dtype[np.void]:
    """The columns of one element; those of a face begin with the list of its corners."""
    found: list[tuple[str, str] | tuple[str, str, int]] = []
    for row in rows:
        words = row.split()
        if listed and not found and words[:2] == [b"property", b"list"] and len(words) == 5 and known(words[2:4]):
            found += [("n", order + TYPES[words[2]]), ("corners", order + TYPES[words[3]], 3)]
        elif (not listed or found) and len(words) == 3 and words[0] == b"property" and known(words[1:2]):
            found.append((f"{words[2].decode('ascii', 'replace')}", order + TYPES[words[1]]))
        else:
            raise Unusable(f"Its header has a property that is not taken. {SIMPLE}")
    if not found or len({name for name, *_ in found}) < len(found):
        raise Unusable(f"Its header names a property twice or none at all. {SIMPLE}")
    return np.dtype(found)


def known(words: list[bytes]) -> bool:
    """Whether all are names of types."""
    return all(word in TYPES for word in words)


def triangles(file: IO[bytes], size: int) -> Iterator[Triangles]:
    """Triangles of a file of either kind."""
    file.seek(0)
    found = header(file.read(HEADER), size)
    file.seek(found.begin)
    yield from binary(file, found) if found.order else text(file, found)


def binary(file: IO[bytes], found: Header) -> Iterator[Triangles]:
    """The points are kept, the faces come and go."""
    points = np.empty((found.points, 3), dtype=np.float32)
    for begin in range(0, found.points, CHUNK):
        rows = rows_of(file, found.point, min(CHUNK, found.points - begin))
        for axis, name in enumerate("xyz"):
            with np.errstate(over="ignore"):  # what becomes infinite is refused later
                points[begin : begin + len(rows), axis] = rows[name]
    for begin in range(0, found.faces, CHUNK):
        rows = rows_of(file, found.face, min(CHUNK, found.faces - begin))
        yield cornered(points, rows["n"], rows["corners"])


def rows_of(file: IO[bytes], row: np.dtype[np.void], count: int) -> NDArray[np.void]:
    """The next rows. Raises Unusable where the file ends before."""
    data = file.read(count * row.itemsize)
    if len(data) != count * row.itemsize:
        raise Unusable("A part of it is missing.")
    return np.frombuffer(data, dtype=row)


def cornered(points: NDArray[np.float32], counts: NDArray[np.generic], corners: NDArray[np.generic]) -> Triangles:
    """Faces by the numbers of their corners as triangles. Raises Unusable for other faces and for unknown points."""
    if not np.equal(counts, 3).all():
        raise Unusable("It has faces with more or fewer than three corners. Save it as triangles.")
    if not (np.greater_equal(corners, 0) & np.less(corners, len(points))).all():
        raise Unusable("It has a triangle whose corner is not among its points.")
    return points[corners.astype(np.int64)]


def text(file: IO[bytes], found: Header) -> Iterator[Triangles]:
    """The same in words."""
    axes = [(found.point.names or ()).index(name) for name in "xyz"]
    points, rows = np.empty((found.points, 3), dtype=np.float32), lines(file)
    for row in range(found.points):
        number, words = next(rows, (0, []))
        if len(words) != len(found.point.names or ()):
            raise Unusable(f"Point {row + 1:,} is missing or has more or fewer numbers than the header says.")
        points[row] = numbers([words[axis] for axis in axes], number)
    for begin in range(0, found.faces, CHUNK):
        several = [next(rows, (0, [])) for _ in range(min(CHUNK, found.faces - begin))]
        whole_rows = [whole(words[:4], number) for number, words in several]
        if any(len(row) != 4 for row in whole_rows):
            raise Unusable("A triangle is missing or has no three corners. Save it as triangles.")
        table = np.array(whole_rows, dtype=np.int64)
        yield cornered(points, table[:, 0], table[:, 1:])
