"""What a worker finds out about a file: its figures and its picture, or why it is refused, and nothing of it left."""

from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from labqueue.base import files, outbox
from labqueue.base.models import OutboxRow
from orders.attachments import mesh_obj, mesh_ply
from orders.attachments.tasks import look_at
from orders.attachments.withdraw import withdraw
from orders.models import Attachment, Case
from tests import cast
from tests.orders import build
from tests.orders.attachments import build as made
from tests.orders.attachments.test_receive import kept, nothing_kept, refused

pytestmark = pytest.mark.django_db

MESHES: dict[str, Callable[[], bytes]] = {
    "stl": made.stl,
    "stl text": made.stl_text,
    "ply": made.ply,
    "ply big": lambda: made.ply(">"),
    "ply text": made.ply_text,
    "obj": made.obj,
}


def shown(attachment: Attachment) -> Image.Image:
    """The picture of a file."""
    with files.open_file(attachment.preview) as file:
        return Image.open(BytesIO(file.read()))


def reason(case: Case, data: bytes, store: Path) -> str:
    """Why a worker refuses a file that was taken in; nothing of it is left but its row."""
    found = made.settled(made.sent(case, data))
    assert (found.state, found.file, found.preview, found.progress) == ("refused", "", "", 100)
    assert kept(store) == []
    assert made.roles(case) == set()
    return found.reason


@pytest.mark.parametrize("name", MESHES)
def test_a_mesh_is_measured_and_drawn_alike_in_each_format(name: str) -> None:
    found = made.looked_at(made.sent(build.draft_case(), MESHES[name]()))
    corners = made.triangles().reshape(-1, 3)
    sides = [round(float(side), 2) for side in corners.max(axis=0) - corners.min(axis=0)]
    assert found.state == "ready", found.reason
    assert (found.progress, found.facts) == (100, {"triangles": 2208, "millimetres": sides})
    picture = shown(found)
    assert (picture.size, picture.format, picture.mode) == ((320, 240), "PNG", "LA")
    solid = np.asarray(picture)[:, :, 1] > 0
    assert 0.1 < solid.mean() < 0.9
    assert not solid[[0, -1]].any(), "it lies within the frame"
    assert not solid[:, [0, -1]].any(), "it lies within the frame"


def test_the_nearest_surface_hides_the_others() -> None:
    wall = np.array([[[-9, -9, 0], [9, -9, 0], [9, 9, 0]], [[-9, -9, 0], [9, 9, 0], [-9, 9, 0]]], dtype=np.float32)
    steep = wall[:, :, [0, 2, 1]] * np.float32(0.3) - np.array([0, 0, 4], dtype=np.float32)
    alone = shown(made.looked_at(made.sent(build.draft_case(), made.stl(np.concatenate([wall, wall])))))
    both = shown(made.looked_at(made.sent(build.draft_case(), made.stl(np.concatenate([steep, wall])))))
    turned_over = shown(made.looked_at(made.sent(build.draft_case(), made.stl(np.concatenate([wall, steep])))))
    assert len(np.unique(np.asarray(alone)[120:122, 150:170, 0])) == 1
    assert np.array_equal(np.asarray(both), np.asarray(turned_over)), "the order of the file plays no part"


FAR, NOWHERE = made.triangles().copy(), made.triangles().copy()
FAR[5, 1, 2] = 1e30
NOWHERE[7, 0, 0] = np.nan
ENDLESS = made.triangles().copy()
ENDLESS[7, 0, 0] = np.inf
POINT = np.zeros((10, 3, 3), dtype=np.float32)
BAD: dict[str, tuple[bytes, str]] = {
    "nan": (made.stl(NOWHERE), "a coordinate that is no number"),
    "inf": (made.stl(ENDLESS), "a coordinate that is no number"),
    "1e30": (made.stl(FAR), "farther than 500 mm"),
    "metres": (made.stl(made.triangles() * 1000), "Save it in millimetres"),
    "three triangles": (made.stl(made.triangles()[:3]), "fewer than 4 triangles"),
    "one point": (made.stl(POINT), "on one line"),
    "stl text cut off": (made.stl_text()[:-40], "does not end with “endsolid”"),
    "stl text with two corners": (made.stl_text().replace(b"\nvertex", b"\n", 1), "Line 4 does not belong"),
    "stl text without a corner": (b"solid a\nfacet normal 0 0 1\nendloop\nvertex 1 2 3\nendloop\n", "no three corners"),
    "stl text with words": (b"solid a\nvertex one 2 3\n", "Line 2 has something else where a number"),
    "stl text nan": (made.stl_text(NOWHERE), "a coordinate that is no number"),
    "stl text, endless line": (made.stl_text() + b" " * 10_000_000, "more than 1000 characters"),
    "ply list of 255": (made.ply(counts=255), "more or fewer than three corners"),
    "ply corner unknown": (made.ply()[:-1] + b"\x7f", "whose corner is not among its points"),
    "ply text cut off": (made.ply_text()[:-30], "is missing or has no three corners"),
    "obj with a texture": (made.obj() + b"\nmtllib ../../secret.mtl", "asks for another file"),
    "obj with a program": (b"v 1 2 3\ncsh rm\n", "asks for another file"),
    "obj corner unknown": (b"v 1 2 3\nf 1 2 3\n", "not among the points before it"),
    "obj corner nought": (b"v 1 2 3\nf 0 1 1\n", "not among the points before it"),
    "obj face of five": (b"v 1 2 3\nf 1 1 1 1 1\n", "has 5 corners"),
    "obj face of words": (b"v 1 2 3\nf a b c\n", "where a whole number belongs"),
    "obj huge": (made.obj() + b"\nv 1e300 0 0\n" + b"f -1 -2 -3\n", "a coordinate that is no number"),
    "obj flat": (b"v 1 2\n", "has no three coordinates"),
    "obj of nothing": (b"o crown\n", "fewer than 4 triangles"),
    "obj, endless line": (made.obj() + b"\n# " + b"x" * 10_000_000, "more than 1000 characters"),
    "obj of poems": (b"o crown\nroses are red\n", "Line 2 does not belong into an OBJ"),
}


@pytest.mark.parametrize("name", BAD)
def test_what_is_no_surface_in_a_mouth_is_refused_and_forgotten(name: str, store: Path) -> None:
    data, sentence = BAD[name]
    assert sentence in reason(build.draft_case(), data, store)


def test_an_obj_of_too_many_points_ends_there(monkeypatch: pytest.MonkeyPatch, store: Path) -> None:
    monkeypatch.setattr(mesh_obj, "MOST_POINTS", 100)
    assert "more than 100 points" in reason(build.draft_case(), made.obj(), store)


def test_faces_of_four_corners_are_two_triangles() -> None:
    box = b"v 0 0 0\nv 9 0 0\nv 9 9 0\nv 0 9 0\nv 0 0 5\n" + b"f 1 2 3 4\nf -1 1 2\nf 5 3 4\n"
    found = made.looked_at(made.sent(build.draft_case(), box))
    assert found.facts == {"triangles": 4, "millimetres": [9.0, 9.0, 5.0]}


def test_a_photo_is_made_small_and_stands_upright() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    found = made.looked_at(made.sent(build.draft_case(), made.photo(exif=exif.tobytes()), "photo_shade"))
    assert (found.state, found.facts) == ("ready", {"pixels": [1200, 800]})
    picture = shown(found)
    assert (picture.size, picture.format) == ((533, 800), "JPEG")
    red = np.asarray(picture)[:, :, 0]
    assert red[20, 500] > 200 > 100 > red[780, 20], "what was left is on top"


def test_a_broken_photo_is_refused_by_the_worker(store: Path) -> None:
    data = bytearray(made.photo("PNG"))
    at = data.index(b"IDAT") + 40
    data[at : at + 2000] = bytes(2000)
    found = made.settled(made.sent(build.draft_case(), bytes(data), "sticker"))
    assert (found.state, found.reason[:20]) == ("refused", "The photo is broken:")
    assert kept(store) == []


def test_a_refused_file_stays_while_another_case_has_it(store: Path) -> None:
    first, second = (made.sent(build.draft_case(), made.stl(NOWHERE)) for _ in range(2))
    row = OutboxRow.objects.get(kind="attachment", subject=f"attachment:{first.pk}")
    assert outbox.run(row.pk)
    assert outbox.run(OutboxRow.objects.get(kind="forget file").pk)
    assert [path.relative_to(store / "files").as_posix() for path in kept(store)] == [second.file]
    made.settled(second)
    assert kept(store) == []


def test_a_file_withdrawn_meanwhile_is_left_alone(store: Path) -> None:
    case = build.draft_case()
    found = made.sent(case, made.stl())
    withdraw(cast.assistant(), case, found)
    made.settled(found)
    assert (found.state, found.preview) == ("checking", "")
    assert kept(store) == []


def test_looking_again_changes_nothing() -> None:
    found = made.looked_at(made.sent(build.draft_case(), made.stl()))
    before = Attachment.objects.values().get(pk=found.pk)
    look_at(OutboxRow.objects.get(kind="attachment"))()
    assert Attachment.objects.values().get(pk=found.pk) == before


PLY_BOMBS: dict[str, tuple[bytes, str]] = {
    "points that are not there": (made.ply_header("binary_little_endian", 171_000_000, 4), "states 171,000,000 points"),
    "faces that are not there": (made.ply_header("ascii", 3, 900_000_000) + b"0 0 0\n" * 3, "900,000,000 triangles"),
    "a number of ten digits": (made.ply_header("ascii", 9_999_999_999, 4), "does not state how many"),
    "no end": (b"ply\nformat ascii 1.0\n" + b"comment x\n" * 1000, "within 4096 bytes"),
    "no format": (b"ply\nelement vertex 3\nend_header\n", "names its format"),
    "strange format": (b"ply\nformat zip 1.0\nelement vertex 3\nend_header\n", "names its format"),
    "other elements": (b"ply\nformat ascii 1.0\nelement vertex 3\nend_header\n", "other elements"),
    "faces first": (
        b"ply\nformat ascii 1.0\nelement face 3\nelement vertex 3\nend_header\n",
        "does not state how many points and then",
    ),
    "strange property": (made.ply_header("ascii", 3, 4, point=("string x",)), "property that is not taken"),
    "list of points": (made.ply_header("ascii", 3, 4, point=("list uchar int x",)), "property that is not taken"),
    "two lists": (made.ply_header("ascii", 3, 4, more="property list uchar float uv\n"), "property that is not taken"),
    "twice x": (made.ply_header("ascii", 3, 4, point=("float x", "float x")), "names a property twice"),
    "no z": (made.ply_header("ascii", 3, 4, point=("float x", "float y")), "no x, y and z"),
    "more behind": (made.ply() + b"\0", "points and triangles only"),
    "cut off": (made.ply()[:-1], "points and triangles only"),
}


@pytest.mark.parametrize("name", PLY_BOMBS)
def test_a_header_that_cannot_be_true_is_refused_at_once(name: str, store: Path) -> None:
    data, sentence = PLY_BOMBS[name]
    assert sentence in refused(build.draft_case(), data)
    nothing_kept(store)


def test_a_ply_of_too_many_points_is_refused(monkeypatch: pytest.MonkeyPatch, store: Path) -> None:
    monkeypatch.setattr(mesh_ply, "MOST_POINTS", 100)
    assert "up to 100 are taken" in refused(build.draft_case(), made.ply())
    assert kept(store) == []


def test_columns_beside_the_coordinates_are_passed() -> None:
    points, faces = made.crown()
    rows = np.zeros(len(points), dtype=[("at", "<f4", 3), ("colour", "u1", 3)])
    rows["at"] = points
    listed = np.zeros(len(faces), dtype=[("n", "u1"), ("corners", "<i4", 3)])
    listed["n"], listed["corners"] = 3, faces
    columns = ("float x", "float y", "float z", "uchar red", "uchar green", "uchar blue")
    head = made.ply_header("binary_little_endian", len(points), len(faces), point=columns)
    found = made.looked_at(made.sent(build.draft_case(), head + rows.tobytes() + listed.tobytes()))
    assert (found.state, found.facts["triangles"]) == ("ready", len(faces))
