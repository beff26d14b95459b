"""Photos and papers: what a camera wrote is taken out, what hangs on behind is dropped, bombs are refused unopened."""

import struct
import zlib
from io import BytesIO
from pathlib import Path
from zipfile import ZipFile

import numpy as np
import pytest
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from labqueue.base import files
from orders.attachments import strip
from orders.attachments.mesh import Unusable
from tests.orders import build
from tests.orders.attachments import build as made
from tests.orders.attachments.test_receive import nothing_kept, refused

pytestmark = pytest.mark.django_db


def told(orientation: int = 6) -> bytes:
    """What a camera writes: who, when, with what, and where."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif[0x010F], exif[0x013B], exif[0x0132] = "Camera Works", "Olga Owner", "2026:11:25 10:00:00"
    place = exif.get_ifd(0x8825)
    place[1], place[2] = "N", (IFDRational(52), IFDRational(31), IFDRational(12))
    return exif.tobytes()


def archive() -> bytes:
    """A ZIP, as it can hang on behind a photo."""
    out = BytesIO()
    with ZipFile(out, "w") as zipped:
        zipped.writestr("secret.txt", "hidden behind the photo")
    return out.getvalue()


def kept_of(data: bytes, role: str = "photo_smile") -> bytes:
    """What is in the store of a photo that was sent."""
    with files.open_file(made.sent(build.draft_case(), data, role).file) as file:
        return file.read()


def pixels(data: bytes) -> "np.ndarray[tuple[int, ...], np.dtype[np.uint8]]":
    """The picture itself."""
    return np.asarray(Image.open(BytesIO(data)))


@pytest.mark.parametrize("progressive", [False, True])
def test_a_photo_keeps_its_picture_and_its_way_up_and_nothing_else(progressive: bool) -> None:
    sent = made.photo(exif=told(), comment=b"taken at home", progressive=progressive) + archive()
    found = kept_of(sent)
    for word in (b"Camera Works", b"Olga", b"2026:11:25", b"taken at home", b"secret", b"PK\x03\x04"):
        assert word in sent
        assert word not in found
    exif = Image.open(BytesIO(found)).getexif()
    assert dict(exif) == {0x0112: 6}
    assert not exif.get_ifd(0x8825)
    assert np.array_equal(pixels(found), pixels(sent))
    assert found.endswith(b"\xff\xd9")


def test_a_photo_that_stands_upright_has_nothing_told() -> None:
    assert b"Exif" not in kept_of(made.photo(exif=told(1)))


def test_what_is_told_wrongly_does_no_harm() -> None:
    told_wrongly = b"\xff\xe1\x00\x10Exif\0\0rubbish!"
    plain = made.photo()
    assert kept_of(plain[:2] + told_wrongly + plain[2:]) == kept_of(plain)


def test_the_small_picture_in_the_head_goes_too() -> None:
    plain = made.photo()
    thumbnail = b"\xff\xe0\x00\x0cJFXX\0\x10abcd"
    inside = b"\xff\xe0\x00\x13JFIF\0\x01\x01\x00\x00\x01\x00\x01\x01\x01xyz"
    assert plain[2:11] == b"\xff\xe0\x00\x10JFIF\0"
    found = kept_of(plain[:2] + inside + plain[20:])
    assert found.startswith(b"\xff\xd8" + strip.FILE_KIND + b"\xff\xdb"), "no small picture follows"
    assert b"JFXX" not in kept_of(plain[:20] + thumbnail + plain[20:])
    assert np.array_equal(pixels(found), pixels(plain))


def test_the_profile_of_its_colours_stays() -> None:
    assert b"colours of a shade" in kept_of(made.photo(icc_profile=b"colours of a shade"))


@pytest.mark.parametrize("role", ["photo_retracted", "sticker"])
def test_a_png_keeps_its_picture_and_nothing_else(role: str) -> None:
    plain = made.photo("PNG")
    end = plain.index(b"IEND") - 4
    texts = made.png_chunk(b"tEXt", b"Author\0Olga") + made.png_chunk(b"eXIf", told()[6:])
    texts += made.png_chunk(b"zTXt", b"Place\0\0" + zlib.compress(b"home")) + made.png_chunk(
        b"tIME", b"\x07\xea\1\1\1\1\1"
    )
    found = kept_of(plain[:end] + texts + plain[end:] + archive(), role)
    assert [word for word in (b"Olga", b"eXIf", b"zTXt", b"tIME", b"PK") if word in found] == []
    assert np.array_equal(pixels(found), pixels(plain))


def bomb(width: int, height: int) -> bytes:
    """A PNG that states so many pixels in a few bytes."""
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = made.png_chunk(b"IDAT", zlib.compress(bytes(1_000_000)))
    return strip.SIGNATURE + made.png_chunk(b"IHDR", head) + body + made.png_chunk(b"IEND", b"")


BROKEN = {
    "png bomb": (bomb(60_000, 60_000), "60,000 x 60,000 pixels; up to 20 million"),
    "png of nothing": (bomb(0, 10), "0 x 10 pixels"),
    "png cut off": (made.photo("PNG")[:-20], "a part of it is missing"),
    "png without a head": (strip.SIGNATURE + made.png_chunk(b"IEND", b""), "a part of it is missing"),
    "png with a false length": (strip.SIGNATURE + b"\xff\xff\xff\xffIHDR" + bytes(40), "pixels"),
    "jpeg cut off": (made.photo()[:-2], "a part of it is missing"),
    "jpeg cut in its head": (made.photo()[:200], "a part of it is missing"),
    "jpeg of nothing": (b"\xff\xd8\xff\xd9", "a part of it is missing"),
    "jpeg of marks": (b"\xff\xd8" + b"\xff\xdb\x00\x02" * 5000 + b"\xff\xd9", "a part of it is missing"),
    "jpeg with a false length": (b"\xff\xd8\xff\xdb\x00\x00" + made.photo(), "a part of it is missing"),
    "jpeg bomb": (
        b"\xff\xd8\xff\xc0\x00\x0b\x08\xff\xff\xff\xff\x01\x01\x11\x00" + made.photo()[20:],
        "65,535 x 65,535",
    ),
}


@pytest.mark.parametrize("name", BROKEN)
def test_what_is_no_whole_photo_is_refused_unopened(name: str, store: Path) -> None:
    data, sentence = BROKEN[name]
    assert sentence in refused(build.draft_case(), data, "photo_shade")
    nothing_kept(store)


def test_every_cut_of_a_photo_is_refused_in_words() -> None:
    for data, parts in ((made.photo(size=(40, 30)), strip.jpeg), (made.photo("PNG", size=(40, 30)), strip.png)):
        for end in range(24, len(data) - 1, 7):
            with pytest.raises(Unusable):
                list(parts(data[:end]))


UNWANTED = {
    b"/JavaScript (app.alert(1))": "a program",
    b"/S /JS": "a program",
    b"/J#61vaScript (1)": "a program",
    b"/#4a#53 (1)": "a program",
    b"/S /Launch /F (x)": "a command",
    b"/EmbeddedFile": "another file",
    b"/Names << /EmbeddedFiles 2 0 R >>": "another file",
    b"/Encrypt 3 0 R": "a password",
}


@pytest.mark.parametrize("inside", UNWANTED)
def test_a_paper_that_does_more_than_show_its_pages_is_refused(inside: bytes, store: Path) -> None:
    assert f"holds {UNWANTED[inside]}" in refused(build.draft_case(), made.pdf(inside), "document")
    nothing_kept(store)


def test_a_paper_that_is_cut_off_is_refused(store: Path) -> None:
    assert "does not end as it should" in refused(build.draft_case(), made.pdf()[:-8], "document")
    nothing_kept(store)


def test_names_that_only_begin_so_are_no_harm() -> None:
    assert made.sent(build.draft_case(), made.pdf(b"/JSomething 1 /Launcher 2"), "document").state == "ready"
