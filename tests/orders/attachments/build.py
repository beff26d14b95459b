"""Files for tests, made here: a mesh in the shape of a crown in each format, photos, papers, and how they are sent."""

import struct
import zlib
from io import BytesIO
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from labqueue.base import outbox
from labqueue.base.models import OutboxRow, User
from labqueue.base.uploads import Incoming
from orders.attachments.reads import files_of
from orders.attachments.receive import receive
from orders.models import Attachment, Case
from tests import cast

Points = NDArray[np.float32]
Faces = NDArray[np.int32]


def crown(around: int = 48, up: int = 24) -> tuple[Points, Faces]:
    """Points (n, 3) in mm and faces (m, 3) of a hollow shape with four cusps, about 9 x 9 x 8 mm."""
    angle = np.linspace(0, 2 * np.pi, around, endpoint=False)
    height = np.linspace(0, 1, up)
    turn, rise = (grid.ravel() for grid in np.meshgrid(angle, height))
    radius = 4.5 * np.sqrt(np.clip(1 - 0.9 * rise**4, 0.05, 1)) * (1 + 0.08 * np.cos(4 * turn))
    top = 7 * rise + 0.8 * rise**3 * np.cos(4 * turn)
    points = np.stack([radius * np.cos(turn), radius * np.sin(turn), top], axis=1).astype(np.float32)
    row, column = (grid.ravel() for grid in np.meshgrid(np.arange(up - 1), np.arange(around), indexing="ij"))
    a, b = row * around + column, row * around + (column + 1) % around
    faces = np.concatenate([np.stack([a, b, a + around], 1), np.stack([b, b + around, a + around], 1)])
    return points, faces.astype(np.int32)


def triangles() -> Points:
    """The same as triangles (m, 3, 3)."""
    points, faces = crown()
    return points[faces]


def stl(corners: Points | None = None, *, header: bytes = b"", count: int | None = None) -> bytes:
    """Binary STL, with another count than the true one where it is given."""
    corners = triangles() if corners is None else corners
    rows = np.zeros(len(corners), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("rest", "<u2")])
    rows["corners"] = corners
    return header.ljust(80, b" ") + struct.pack("<I", len(corners) if count is None else count) + rows.tobytes()


def stl_text(corners: Points | None = None) -> bytes:
    """STL as text."""
    corners = triangles() if corners is None else corners
    facet = "facet normal 0 0 0\nouter loop\n{}\nendloop\nendfacet"
    said = (facet.format("\n".join("vertex " + " ".join(map(str, at)) for at in three)) for three in corners.tolist())
    return "\n".join(["solid crown", *said, "endsolid crown\n"]).encode()


def ply_header(
    form: str, points: int, faces: int, *, point: tuple[str, ...] = ("float x", "float y", "float z"), more: str = ""
) -> bytes:
    """What stands before the rows of a PLY."""
    columns = "".join(f"property {column}\n" for column in point)
    listed = "property list uchar int vertex_indices\n"
    head = f"ply\nformat {form} 1.0\ncomment a crown\nelement vertex {points}\n{columns}"
    return f"{head}element face {faces}\n{listed}{more}end_header\n".encode()


def ply(order: str = "<", counts: int = 3) -> bytes:
    """Binary PLY in either byte order; each face says that it has `counts` corners."""
    points, faces = crown()
    rows = np.zeros(len(faces), dtype=[("n", "u1"), ("corners", f"{order}i4", 3)])
    rows["n"], rows["corners"] = counts, faces
    form = "binary_little_endian" if order == "<" else "binary_big_endian"
    return ply_header(form, len(points), len(faces)) + points.astype(f"{order}f4").tobytes() + rows.tobytes()


def ply_text() -> bytes:
    """PLY as text."""
    points, faces = crown()
    rows = [" ".join(map(str, at)) for at in points.tolist()]
    rows += [f"3 {a} {b} {c}" for a, b, c in faces.tolist()]
    return ply_header("ascii", len(points), len(faces)) + "\n".join(rows).encode() + b"\n"


def obj() -> bytes:
    """OBJ, with corners in each way they can be written."""
    points, faces = crown()
    rows = ["# a crown", "o crown", *(f"v {x} {y} {z}" for x, y, z in points.tolist()), "vn 0 0 1", "s off"]
    rows += [f"f {a + 1}//1 {b + 1}//1 {c - len(points)}//1" for a, b, c in faces.tolist()]
    return "\n".join(rows).encode()


def photo(form: str = "JPEG", size: tuple[int, int] = (1200, 800), **facts: Any) -> bytes:
    """A picture that is bright on top and left."""
    across = np.linspace(255, 40, size[0], dtype=np.uint8)[None, :].repeat(size[1], axis=0)
    down = np.linspace(255, 40, size[1], dtype=np.uint8)[:, None].repeat(size[0], axis=1)
    out = BytesIO()
    Image.fromarray(np.dstack([across, down, down // 2 + across // 2])).save(out, form, **facts)
    return out.getvalue()


def png_chunk(kind: bytes, data: bytes) -> bytes:
    """One part of a PNG."""
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def pdf(inside: bytes = b"") -> bytes:
    """A small PDF."""
    return b"%PDF-1.4\n1 0 obj\n<< /Type /Catalog " + inside + b" >>\nendobj\ntrailer\n<< /Root 1 0 R >>\n%%EOF\n"


def upload(data: bytes, name: str = "scan.stl") -> Incoming:
    """A file as it comes out of a request."""
    sent = Incoming(name)
    sent.add(data)
    sent.seek(0)
    return sent


def sent(case: Case, data: bytes, role: str = "implant_scan", actor: User | None = None, **facts: Any) -> Attachment:
    """A file that was taken in and not yet looked at."""
    ticked = {"no_face": True, **facts}
    return receive(actor or cast.assistant(), case, role, upload(data), **ticked)


def looked_at(attachment: Attachment) -> Attachment:
    """The file after a worker has done all there is to do."""
    for row in OutboxRow.objects.filter(kind__in=["attachment", "forget file"], state="queued").order_by("pk"):
        assert outbox.run(row.pk), f"{row} was not done"
    attachment.refresh_from_db()
    return attachment


def settled(attachment: Attachment) -> Attachment:
    """The same with the work that follows from it."""
    return looked_at(looked_at(attachment))


def roles(case: Case) -> set[str]:
    """What is listed of a case and was not refused."""
    return {one.role for one in files_of(case) if one.state != "refused"}
