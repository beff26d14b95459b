"""The typeface of printed papers: Noto Sans from its package, in Regular and Bold, ready to be embedded in a PDF.

It holds Latin, Greek and Cyrillic with their accents. A sign that it does not hold is printed as an open box.
"""

import os
import tempfile
from functools import cache
from pathlib import Path

import fontpkg_noto_sans
from django.conf import settings
from fontTools.ttLib import TTFont
from fontTools.varLib import instancer
from reportlab.pdfbase import pdfmetrics, ttfonts

REGULAR, BOLD = "PaperRegular", "PaperBold"
SOURCE = fontpkg_noto_sans.ROOT / "files" / "NotoSans[wdth,wght].ttf"


@cache
def register() -> None:
    """Make both fonts known to ReportLab, once per process; `<b>` in a paragraph finds its way to the bold one."""
    pdfmetrics.registerFont(ttfonts.TTFont(REGULAR, SOURCE))
    pdfmetrics.registerFont(ttfonts.TTFont(BOLD, bold_file()))
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD)


def bold_file() -> Path:
    """The bold cut, made from the variable font on first need (a second or two) and kept in the storage folder."""
    kept = Path(settings.STORAGE_DIR) / "fonts" / "NotoSans-Bold.ttf"
    if not kept.exists():
        kept.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=kept.parent)
        with os.fdopen(handle, "wb") as file:
            bold().save(file)
        os.replace(temporary, kept)
    return kept


def bold() -> TTFont:
    """The font at weight 700. Without a name of its own, ReportLab would take it for the regular one."""
    font = TTFont(SOURCE, recalcTimestamp=False)
    for shaping in ("GSUB", "GPOS", "GDEF"):  # ReportLab does not use them, and they take most of the time
        del font[shaping]
    return instancer.instantiateVariableFont(font, {"wght": 700, "wdth": 100}, updateFontNames=True)
