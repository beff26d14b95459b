"""Photos without what a camera writes about place, time, device and owner, and without what hangs on behind.

The picture itself is not decoded: its parts are read by their stated lengths, and only known ones are passed on.
"""

import mmap
import re
from collections.abc import Iterator
from itertools import takewhile
from typing import NamedTuple

from PIL import Image

from orders.attachments.mesh import Unusable

Source = bytes | mmap.mmap
# Pixels that are taken; a photo of a camera has 24 million.
JPEG_PIXELS, PNG_PIXELS = 40_000_000, 20_000_000
ORIENTATION = 0x0112
BROKEN = "The photo is broken: a part of it is missing. Send it again."

# JPEG: the codes of markers. Frames state the size; the kept ones hold tables, colours, or the kind of file.
FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
PLAIN, EXIF, PROFILE, ADOBE, SCAN, END = 0xE0, 0xE1, 0xE2, 0xEE, 0xDA, 0xD9
KEPT = FRAMES | {0xC4, 0xCC, 0xDB, 0xDC, 0xDD, ADOBE, SCAN}
MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7]")
MOST_SEGMENTS = 2000
FILE_KIND = b"\xff\xe0\x00\x10JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x00\x00"

# PNG: the picture, its palette, its colours.
SIGNATURE = b"\x89PNG\r\n\x1a\n"
CHUNKS = frozenset({b"IHDR", b"PLTE", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT", b"pHYs", b"IDAT", b"IEND"})


class Segment(NamedTuple):
    """One part of a JPEG: the code of its marker, and where its bytes begin (the marker itself) and end."""

    code: int
    begin: int
    end: int


def segments(data: Source) -> Iterator[Segment]:
    """The parts up to the end mark, compressed data as part of its scan. Raises Unusable where one is missing."""
    at = 2
    for _ in range(MOST_SEGMENTS):
        while data[at : at + 2] == b"\xff\xff":
            at += 1
        if (len(data) < at + 4 and data[at : at + 2] != b"\xff\xd9") or data[at] != 0xFF:
            raise Unusable(BROKEN)
        code = data[at + 1]
        if code == END:
            return
        end = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        if code == SCAN:
            end = end_of_scan(data, end)
        if end > len(data) or end < at + 4:
            raise Unusable(BROKEN)
        yield Segment(code, at, end)
        at = end
    raise Unusable(BROKEN)


def end_of_scan(data: Source, at: int) -> int:
    """Where the next marker stands; those that belong into compressed data are passed."""
    found = MARKER.search(data, at)
    if found is None:
        raise Unusable(BROKEN)
    return found.start()


def jpeg(data: Source) -> Iterator[bytes]:
    """The parts of a photo that show it. Raises Unusable for a broken one and for one of too many pixels."""
    yield b"\xff\xd8" + opening(data)
    framed = scanned = False
    for part in segments(data):
        if part.code in FRAMES:
            within(*jpeg_size(data[part.begin : part.end]), JPEG_PIXELS)
            framed = True
        scanned = scanned or part.code == SCAN
        if part.code in KEPT or (part.code == PROFILE and data[part.begin + 4 : part.begin + 15] == b"ICC_PROFILE"):
            yield data[part.begin : part.end]
    if not (framed and scanned):
        raise Unusable(BROKEN)
    yield b"\xff\xd9"


def jpeg_size(frame: bytes) -> tuple[int, int]:
    """Width and height of a frame: after the marker, its length and the depth of its colours come height and width."""
    return int.from_bytes(frame[7:9], "big"), int.from_bytes(frame[5:7], "big")


def opening(data: Source) -> bytes:
    """What stands first: that it is a plain photo, where it says so, and how the camera was held."""
    plain, way = b"", None
    for part in takewhile(lambda part: part.code != SCAN, segments(data)):
        begins = data[part.begin + 4 : part.begin + 10]
        if part.code == PLAIN and begins.startswith(b"JFIF\0"):
            plain = FILE_KIND
        if part.code == EXIF and begins == b"Exif\0\0":
            way = orientation(data[part.begin + 4 : part.end])
    if way is None:
        return plain
    fresh = Image.Exif()
    fresh[ORIENTATION] = way
    told = fresh.tobytes()
    return plain + b"\xff\xe1" + (len(told) + 2).to_bytes(2, "big") + told


def orientation(told: bytes) -> int | None:
    """One of the eight ways, or None."""
    exif = Image.Exif()
    try:
        exif.load(told)
        way = exif.get(ORIENTATION)
    except Exception:  # it is made by anybody, and whatever is wrong with it, the photo is none the worse
        return None
    return way if way in range(2, 9) else None


def png(data: Source) -> Iterator[bytes]:
    """The parts of a picture that show it. Raises Unusable for a broken one and for one of too many pixels."""
    if data[12:16] != b"IHDR":
        raise Unusable(BROKEN)
    within(int.from_bytes(data[16:20], "big"), int.from_bytes(data[20:24], "big"), PNG_PIXELS)
    yield SIGNATURE
    at, kind = len(SIGNATURE), b""
    while kind != b"IEND":
        kind = data[at + 4 : at + 8]
        end = at + 12 + int.from_bytes(data[at : at + 4], "big")
        if len(kind) < 4 or end > len(data):
            raise Unusable(BROKEN)
        if kind in CHUNKS:
            yield data[at:end]
        at = end


def within(width: int, height: int, pixels: int) -> None:
    """Raises Unusable where a photo has no pixels or too many."""
    if not 0 < width * height <= pixels:
        most = pixels // 1_000_000
        raise Unusable(f"The photo states {width:,} x {height:,} pixels; up to {most} million are taken.")
