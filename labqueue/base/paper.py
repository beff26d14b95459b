"""The paper kit: A4 sheets in black on white, made of checked pieces, with the same bytes for the same facts.

What people have typed is printed as it stands: `Sheet.text` takes every string for plain text, never for markup.
"""

import io
import threading
import unicodedata
from collections.abc import Callable, Sequence
from typing import Any, Literal
from xml.sax.saxutils import escape

import segno
from reportlab.lib.colors import black
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    HRFlowable,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
    TableStyle,
)

from labqueue.base import fonts

MARGIN = 14 * mm
WIDTH = A4[0] - 2 * MARGIN
FOOT = 9 * mm
# A sheet that does not fit on one page is set smaller, down to what is still read without effort.
SCALES = (1.0, 0.93, 0.86, 0.79)
Align = Literal[0, 2]
LEFT: Align = 0
RIGHT: Align = 2
# One of ReportLab's table commands: its name, from and to which cell, and what it is given.
Command = tuple[str, tuple[int, int], tuple[int, int], *tuple[Any, ...]]
ALL = (0, 0), (-1, -1)

# ReportLab's fonts serve one document at a time.
_one_at_a_time = threading.Lock()


def clean(text: str) -> str:
    """One line of printable text: white space and control signs become single spaces, invisible marks are dropped."""
    kinds = ((char, unicodedata.category(char)) for char in unicodedata.normalize("NFC", text))
    kept = (" " if kind in ("Cc", "Zl", "Zp", "Cs") else char for char, kind in kinds if kind != "Cf")
    return " ".join("".join(kept).split())


class Code(Flowable):
    """A QR code as vectors, `side` points wide without its quiet zone. Highest error correction that fits its size."""

    def __init__(self, data: str, side: float) -> None:
        super().__init__()
        self.matrix = segno.make_qr(data, error="h").matrix
        self.width = self.height = side

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Its size, whatever is offered."""
        return self.width, self.height

    def draw(self) -> None:
        """All dark modules as one path, so that no seams show between them."""
        module = self.width / len(self.matrix)
        path = self.canv.beginPath()
        for row, line in enumerate(self.matrix):
            for column, dark in enumerate(line):
                if dark:
                    path.rect(column * module, self.height - (row + 1) * module, module, module)
        self.canv.drawPath(path, stroke=0, fill=1)


class Sheet:
    """The pieces of a sheet at one scale. Sizes are points at scale 1, widths are millimetres on the paper."""

    def __init__(self, scale: float = 1.0) -> None:
        self.scale = scale

    def text(self, text: str, size: float = 10, bold: bool = False, align: Align = LEFT) -> Paragraph:
        """Plain text, wrapped where it is too long."""
        return Paragraph(escape(clean(text)), self._style(size, bold, align))

    def labelled(self, label: str, *values: str, size: float = 10, bold: bool = False) -> list[Flowable]:
        """A small heading and what it names, line by line; empty lines are left out."""
        return [self.text(label, 7.5, bold=True), *(self.text(value, size, bold) for value in values if value)]

    def space(self, millimetres: float) -> Spacer:
        """Nothing, that high."""
        return Spacer(1, millimetres * mm * self.scale)

    def code(self, data: str, millimetres: float) -> Code:
        """A QR code; its size does not shrink with the sheet."""
        return Code(data, millimetres * mm)

    def grid(self, rows: Sequence[Sequence[object]], widths: Sequence[float], *commands: Command) -> Table:
        """Cells side by side without lines, from the top; `commands` are added to the table's style."""
        gap = 1.2 * mm * self.scale
        base: list[Command] = [("VALIGN", *ALL, "TOP"), ("FONTNAME", *ALL, fonts.REGULAR)]
        base += [("TOPPADDING", *ALL, gap), ("BOTTOMPADDING", *ALL, gap)]
        base += [("LEFTPADDING", *ALL, 0), ("RIGHTPADDING", *ALL, 2 * gap)]
        style = TableStyle([*base, *commands])
        return Table([list(row) for row in rows], [width * mm for width in widths], style=style, hAlign="LEFT")

    def table(
        self, head: Sequence[str], rows: Sequence[Sequence[object]], widths: Sequence[float], numbers: int = 99
    ) -> Table:
        """Rows under a heading that is repeated on every page; columns from `numbers` on are set to the right."""
        titles = [self.text(word, 8, True, RIGHT if i >= numbers else LEFT) for i, word in enumerate(head)]
        under_head: Command = ("LINEBELOW", (0, 0), (-1, 0), 1, black)
        under_rows: Command = ("LINEBELOW", (0, 1), (-1, -1), 0.4, black)
        table = self.grid([titles, *rows], widths, under_head, under_rows)
        table.repeatRows = 1
        return table

    def rule(self, weight: float = 1.5) -> HRFlowable:
        """A line across the sheet."""
        return HRFlowable("100%", weight, color=black, spaceBefore=mm, spaceAfter=mm)

    def _style(self, size: float, bold: bool, align: Align) -> ParagraphStyle:
        font, points = fonts.BOLD if bold else fonts.REGULAR, size * self.scale
        return ParagraphStyle(
            "text", fontName=font, bulletFontName=font, fontSize=points, leading=points * 1.28, alignment=align
        )


Compose = Callable[[Sheet], list[Flowable]]


def printed(title: str, compose: Compose, foot: str) -> bytes:
    """The sheet as a PDF, on one page if any scale makes it fit; otherwise on numbered pages at the smallest.

    `title` stands in the file's properties, `foot` at the foot of every page. Equal arguments give equal bytes.
    """
    with _one_at_a_time:
        fonts.register()
        for scale in SCALES:
            data, pages = _build(title, compose(Sheet(scale)), foot)
            if pages == 1:
                return data
        return _build(title, compose(Sheet(SCALES[-1])), foot, pages)[0]


def _build(title: str, story: list[Flowable], foot: str, of: int = 1) -> tuple[bytes, int]:
    """The PDF and its number of pages; `of` is printed behind the number of each page where it is above 1."""
    buffer = io.BytesIO()
    document = BaseDocTemplate(
        buffer, pagesize=A4, title=title, author="", invariant=1, pageCompression=1, initialFontName=fonts.REGULAR
    )
    height = A4[1] - 2 * MARGIN - FOOT
    frame = Frame(MARGIN, MARGIN + FOOT, WIDTH, height, leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0)

    def draw_foot(canvas: Canvas, document: BaseDocTemplate) -> None:
        page = f" · page {document.page} of {of}" if of > 1 else ""
        line = Sheet().text(foot + page, 8)
        canvas.setLineWidth(0.6)
        canvas.line(MARGIN, MARGIN + FOOT - 2 * mm, MARGIN + WIDTH, MARGIN + FOOT - 2 * mm)
        _, needed = line.wrap(WIDTH, FOOT)
        line.drawOn(canvas, MARGIN, MARGIN + FOOT - 4 * mm - needed)

    document.addPageTemplates([PageTemplate("sheet", [frame], onPage=draw_foot)])
    document.build(story)
    return buffer.getvalue(), document.page
