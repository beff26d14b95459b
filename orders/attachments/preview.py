"""What is shown of a file before it is opened: figures of a scan and its picture, a photo made small."""

from collections.abc import Callable, Iterator
from io import BytesIO
from typing import IO, NamedTuple

from PIL import Image, ImageOps

from orders.attachments import mesh_obj, mesh_ply, mesh_stl, strip
from orders.attachments.content import HEAD, MESHES, Type
from orders.attachments.mesh import Triangles, Unusable, measured

LONGEST_SIDE = 800
# Passes over a mesh: its figures, the frame of its picture, the picture.
PASSES = 3
Tell = Callable[[float], None]


class Shown(NamedTuple):
    """What is known about a file, and its picture with its suffix."""

    facts: dict[str, object]
    picture: bytes
    suffix: str


def look(kind: str, file: IO[bytes], size: int, tell: Tell) -> Shown:
    """Read a file; `tell` hears the share that is done. Raises Unusable where it is not what it should be."""
    return mesh(kind, file, size, tell) if kind in MESHES else photo(file)


def read(kind: str, file: IO[bytes], size: int) -> Iterator[Triangles]:
    """The triangles of a mesh of whatever type."""
    if kind == Type.PLY:
        return mesh_ply.triangles(file, size)
    if kind == Type.OBJ:
        return mesh_obj.triangles(file)
    file.seek(0)
    return mesh_stl.binary(file) if mesh_stl.is_binary(file.read(HEAD), size) else mesh_stl.text(file)


def mesh(kind: str, file: IO[bytes], size: int, tell: Tell) -> Shown:
    """Figures and picture of a mesh, without ever holding it whole."""
    # Only who draws loads the compiler; pages know this module, too, through the handlers of work.
    from orders.attachments import draw

    passes = iter(range(PASSES))

    def pieces() -> Iterator[Triangles]:
        done = next(passes)
        for piece in read(kind, file, size):
            yield piece
            tell((done + min(1.0, file.tell() / size)) / PASSES)

    found = measured(pieces())
    sides = [round(float(side), 2) for side in found.high - found.low]
    return Shown({"triangles": found.triangles, "millimetres": sides}, draw.picture(pieces), ".png")


def photo(file: IO[bytes]) -> Shown:
    """A photo the right way up, at most 800 pixels wide and high. Raises Unusable where it cannot be read."""
    try:
        with Image.open(file, formats=("JPEG", "PNG")) as found:
            strip.within(*found.size, strip.JPEG_PIXELS)
            facts: dict[str, object] = {"pixels": list(found.size)}
            found.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
            upright = ImageOps.exif_transpose(found)
            upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
            out = BytesIO()
            upright.convert("RGB").save(out, "JPEG", quality=85)
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError) as why:
        raise Unusable("The photo is broken: it cannot be read to its end. Send it again.") from why
    return Shown(facts, out.getvalue(), ".jpeg")
