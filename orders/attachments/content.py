"""What a file is, by what it holds: neither its name nor what the sender says about it counts."""

import mmap
import re
from collections.abc import Callable, Iterator
from typing import IO

from labqueue.base.errors import Refusal, refuse
from orders.attachments import mesh_obj, mesh_ply, mesh_stl, pdf, strip
from orders.attachments.mesh import Unusable
from orders.models import Attachment

Type = Attachment.Type
HEAD, MB = 4096, 1_000_000
# As many lines of a scan in text as are handed on together.
LINES = 10_000
MESHES = frozenset({Type.STL, Type.PLY, Type.OBJ})
PHOTOS = frozenset({Type.JPEG, Type.PNG})
CAPS = {**dict.fromkeys(MESHES, 200), **dict.fromkeys(PHOTOS, 25), Type.PDF: 20}
TAKEN = "Scans are taken as STL, PLY or OBJ up to 200 MB, photos as JPEG or PNG up to 25 MB, papers as PDF up to 20 MB."
# What is often sent instead, by its first bytes.
OTHERS = {
    b"PK": "a ZIP archive. Unpack it and send what is in it.",
    b"\x1f\x8b": "a compressed file. Unpack it and send what is in it.",
    b"Rar!": "an archive. Unpack it and send what is in it.",
    b"<": "a page or a drawing in text.",
    b"GIF8": "a GIF.",
    b"RIFF": "a WebP or a sound.",
}
# What names something in a scan in text.
NAMES = frozenset({b"solid", b"endsolid", b"o", b"g", b"usemtl"})
NO_TEXT = re.compile(rb"[\x00-\x08\x0e-\x1f\x7f]")


def recognise(file: IO[bytes], size: int) -> Attachment.Type:
    """The type of a file of `size` bytes. Raises Refusal for another one and for one that is too large for its type."""
    file.seek(0)
    head = file.read(HEAD)
    if not head:
        raise refused("content", "The file is empty. Send it again.")
    found = next((kind for kind, looks_so in LOOKS.items() if looks_so(head, size)), None)
    if found is None:
        raise refused("content", nothing_known(head, size))
    if size > CAPS[found] * MB:
        raise too_large(found.label, size, CAPS[found])
    return found


def too_large(what: str, size: int, most: int) -> Refusal:
    """The refusal of a file for its size."""
    return refused("size", f"The {what} has {size / MB:,.1f} MB; up to {most} MB are taken. Send a smaller one.")


def refused(code: str, sentence: str) -> Refusal:
    """At the field of the file."""
    return refuse(code, sentence, field="file")


def is_text(head: bytes) -> bool:
    """Whether the beginning of a file is text."""
    return NO_TEXT.search(head) is None


def is_stl_text(head: bytes, size: int) -> bool:
    """Text that calls itself so."""
    return head.lstrip()[:5].lower() == b"solid" and is_text(head)


def is_obj(head: bytes, size: int) -> bool:
    """Text whose first line that says something is one of points and faces, or asks for another file."""
    if not is_text(head):
        return False
    rows = (line.split() for line in head.splitlines()[: None if size <= HEAD else -1])
    first = next((words[0] for words in rows if words and not words[0].startswith(b"#")), b"")
    return first in mesh_obj.WORDS | mesh_obj.OTHER_FILES


LOOKS: dict[Attachment.Type, Callable[[bytes, int], bool]] = {
    Type.JPEG: lambda head, size: head.startswith(b"\xff\xd8\xff"),
    Type.PNG: lambda head, size: head.startswith(strip.SIGNATURE),
    Type.PDF: lambda head, size: head.startswith(b"%PDF-"),
    Type.PLY: lambda head, size: head.startswith((b"ply\n", b"ply\r\n")),
    Type.STL: lambda head, size: mesh_stl.is_binary(head, size) or is_stl_text(head, size),
    Type.OBJ: is_obj,
}


def nothing_known(head: bytes, size: int) -> str:
    """The best that can be said of an unknown file."""
    for begin, what in OTHERS.items():
        if head.lstrip().startswith(begin):
            return f"This is {what} {TAKEN}"
    if head[128:132] == b"DICM":
        return f"This is a DICOM record. {TAKEN}"
    if is_text(head) or size < mesh_stl.HEADER:
        return f"The file is of no type that is known here. {TAKEN}"
    count = mesh_stl.stated(head)
    needed = mesh_stl.HEADER + mesh_stl.FACET.itemsize * count
    why = f"it states {count:,} triangles, which would be {needed:,} bytes, but has {size:,}"
    return f"The file is of no type that is known here. If it is an STL, {why}: save it again."


def cleaned(file: IO[bytes], kind: Attachment.Type, size: int) -> Iterator[bytes]:
    """The bytes that are kept. Raises Refusal, maybe after some of them, where the file is not what it seems."""
    try:
        if kind in MESHES:
            yield from mesh(file, kind, size)
            return
        with mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
            yield from PARTS[kind](data)
    except Unusable as why:
        raise refused("content", str(why)) from why


def mesh(file: IO[bytes], kind: Attachment.Type, size: int) -> Iterator[bytes]:
    """A mesh as it is, once its header was looked at; what follows the header is read by a worker."""
    file.seek(0)
    head = file.read(HEAD)
    if kind == Type.PLY:
        mesh_ply.header(head, size)
    if kind == Type.STL and mesh_stl.is_binary(head, size) and not mesh_stl.stated(head):
        raise Unusable("It has no triangles. Save it again from the scanner's program.")
    text = kind == Type.OBJ or (kind == Type.STL and not mesh_stl.is_binary(head, size))
    file.seek(0)
    if text:
        yield from nameless_lines(file)
        return
    yield nameless_head(file, kind)
    while part := file.read(MB):
        yield part


def nameless_head(file: IO[bytes], kind: Attachment.Type) -> bytes:
    """The header of a binary scan without what a program wrote into it beside its numbers: often the patient's name."""
    if kind == Type.STL:
        return b" " * 80 + file.read(mesh_stl.HEADER)[80:]
    lines = []
    while line := file.readline(HEAD):
        lines.append(blank(line, 1) if line.startswith((b"comment", b"obj_info")) else line)
        if line.rstrip() == b"end_header":
            break
    return b"".join(lines)


def nameless_lines(file: IO[bytes]) -> Iterator[bytes]:
    """The lines of a scan in text, each as long as before, without remarks and names of solids, objects and groups."""
    kept: list[bytes] = []
    fresh, named = True, False
    while line := file.readline(HEAD):
        if fresh:
            first = next(iter(line.split(maxsplit=1)), b"")
            named = first.lower() in NAMES or first.startswith(b"#")
        kept.append(blank(line, int(fresh)) if named else line)
        fresh = line.endswith(b"\n")
        if len(kept) >= LINES:
            yield b"".join(kept)
            kept = []
    yield b"".join(kept)


def blank(line: bytes, words: int) -> bytes:
    """A line of the same length that says no more than its first word, or nothing."""
    first = line.split(maxsplit=1)[0][:8] if words and line.strip() else b""
    end = b"\n" if line.endswith(b"\n") else b""
    return (b"#" if first.startswith(b"#") else first).ljust(len(line) - len(end)) + end


def paper(data: mmap.mmap) -> Iterator[bytes]:
    """A PDF as it is, once it was looked at."""
    pdf.check(data)
    for at in range(0, len(data), MB):
        yield data[at : at + MB]


PARTS: dict[Attachment.Type, Callable[[mmap.mmap], Iterator[bytes]]] = {
    Type.JPEG: strip.jpeg,
    Type.PNG: strip.png,
    Type.PDF: paper,
}
