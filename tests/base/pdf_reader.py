"""Reading a PDF back: its text, its pages, its fonts, and the codes on it as a scanner sees them."""

import io
import subprocess
from pathlib import Path

import zxingcpp
from PIL import Image
from pypdf import PdfReader
from pypdf.generic import DictionaryObject

DOTS_PER_INCH = 203  # of a usual label printer


def pages(pdf: bytes) -> int:
    """How many pages there are."""
    return len(PdfReader(io.BytesIO(pdf)).pages)


def text(pdf: bytes) -> str:
    """All text with every run of white space as one space, so that it does not matter where a line was broken."""
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).split())


def letters(pdf: bytes) -> str:
    """All text without any white space: also words that were broken are found in it."""
    return "".join(text(pdf).split())


def title(pdf: bytes) -> str:
    """The title in the file's properties."""
    found = PdfReader(io.BytesIO(pdf)).metadata
    return str(found.title) if found else ""


def fonts(pdf: bytes) -> dict[str, bool]:
    """Each font of the pages, and whether it is embedded."""
    found = {}
    for page in PdfReader(io.BytesIO(pdf)).pages:
        resources = page["/Resources"].get_object()
        assert isinstance(resources, DictionaryObject)
        for reference in resources.get("/Font", DictionaryObject()).values():
            font = reference.get_object()
            descriptor = font.get("/FontDescriptor", DictionaryObject()).get_object()
            found[str(font["/BaseFont"])] = "/FontFile2" in descriptor
    return found


def pictures(pdf: bytes) -> int:
    """How many images are on the pages."""
    return sum(len(page.images) for page in PdfReader(io.BytesIO(pdf)).pages)


def picture(pdf: bytes, folder: Path, dots_per_inch: int = DOTS_PER_INCH) -> Image.Image:
    """The first page in pure black and white, as it leaves a printer of that resolution."""
    (folder / "page.pdf").write_bytes(pdf)
    command = ["pdftoppm", "-r", str(dots_per_inch), "-mono", "-singlefile", "page.pdf", "page"]
    subprocess.run(command, cwd=folder, check=True)
    return Image.open(folder / "page.pbm").convert("L")


def codes(image: Image.Image) -> list[zxingcpp.Barcode]:
    """What a scanner reads in a picture."""
    return list(zxingcpp.read_barcodes(image))


def millimetres(code: zxingcpp.Barcode, dots_per_inch: int = DOTS_PER_INCH) -> float:
    """How wide a code was printed."""
    return float(abs(code.position.top_right.x - code.position.top_left.x)) / dots_per_inch * 25.4
