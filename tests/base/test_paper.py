"""The paper kit: plain text stays plain, one page where possible, embedded fonts, codes that scan, the same bytes."""

from pathlib import Path

import pytest
from django.conf import LazySettings
from PIL import ImageFilter
from reportlab.platypus import Flowable

from labqueue.base import fonts, paper
from labqueue.base.paper import Sheet, clean, printed
from tests.base import pdf_reader

# No database is asked.
pytestmark = pytest.mark.once

HOSTILE = [
    "<b>bold</b>",
    '<img src="http://127.0.0.1:1/x.png" width="50" height="50"/>',
    "<para><font size=60>",
    "</para></b>",
    "<a href='javascript:alert(1)'>click</a>",
    "a < b & c > d &lt;e&gt; &#65; &nbsp;",
    "<![CDATA[x]]> <?xml?> <!-- y -->",
    "{{ 7*7 }} {% now %} ${x} %s %(x)s \\n",
]
OTHER_SCRIPTS = ["مرحبا بالعالم", "שלום עולם", "种植体 インプラント", "임플란트"]


def sheet_of(*lines: str) -> bytes:
    """A sheet with some lines of text."""

    def compose(sheet: Sheet) -> list[Flowable]:
        return [sheet.text(line) for line in lines]

    return printed("A test", compose, "the foot")


def test_text_title_and_foot_are_on_the_sheet() -> None:
    pdf = sheet_of("Łódź Ñandú Größe", "Ελληνικά Кириллица")
    assert "Łódź Ñandú Größe Ελληνικά Кириллица" in pdf_reader.text(pdf)
    assert "the foot" in pdf_reader.text(pdf)
    assert pdf_reader.title(pdf) == "A test"


@pytest.mark.parametrize("text", HOSTILE)
def test_what_people_typed_is_never_markup(text: str) -> None:
    assert "".join(text.split()) in pdf_reader.letters(sheet_of(text))


def test_a_picture_that_was_typed_is_not_fetched() -> None:
    pdf = sheet_of('<img src="/etc/hostname" width="10" height="10"/>')
    assert pdf_reader.pictures(pdf) == 0
    assert "/etc/hostname" in pdf_reader.letters(pdf)


@pytest.mark.parametrize(
    "text", ["W" * 500, "مرحبا بالعالم", "שלום עולם", "种植体 インプラント 임플란트", "👩‍⚕️ é́́́", "\ud800 lone"]
)
def test_other_scripts_and_endless_words_stay_on_one_page(text: str) -> None:
    pdf = sheet_of("before", text, "after")
    assert pdf_reader.pages(pdf) == 1
    assert "before" in pdf_reader.text(pdf)
    assert "after" in pdf_reader.text(pdf)


@pytest.mark.parametrize(
    ("typed", "printed_as"),
    [
        ("  two\n lines\t", "two lines"),
        ("nul\x00bell\x07", "nul bell"),
        ("turned\u202e round", "turned round"),
        ("e\u0301", "é"),
        ("\u2028\u2029", ""),
    ],
)
def test_clean_leaves_one_printable_line(typed: str, printed_as: str) -> None:
    assert clean(typed) == printed_as


def test_every_font_is_embedded_also_in_tables_and_rules() -> None:
    def compose(sheet: Sheet) -> list[Flowable]:
        grid = sheet.grid([["", "plain"], [sheet.text("bold", bold=True), ""]], [40, 40])
        table = sheet.table(["a", "b"], [[sheet.text("1"), sheet.text("2")]], [40, 40], numbers=1)
        return [grid, sheet.rule(), table, *sheet.labelled("LABEL", "value", ""), sheet.space(3)]

    embedded = pdf_reader.fonts(printed("t", compose, "f"))
    assert all(embedded.values()), embedded
    assert {name.partition("+")[2] for name in embedded} == {"NotoSans-Regular", "NotoSans-Bold"}


def test_bold_is_drawn_bolder_than_regular(tmp_path: Path) -> None:
    def ink(bold: bool) -> int:
        pdf = printed("t", lambda sheet: [sheet.text("HHHHHHHHHH", 40, bold)], "f")
        return pdf_reader.picture(pdf, tmp_path, 100).histogram()[0]

    assert ink(bold=True) > ink(bold=False) * 1.2


def test_the_bold_cut_is_made_once(settings: LazySettings, tmp_path: Path) -> None:
    settings.STORAGE_DIR = tmp_path
    first = fonts.bold_file()
    made = first.stat().st_mtime_ns
    assert fonts.bold_file() == first
    assert first.stat().st_mtime_ns == made
    assert [path.name for path in first.parent.iterdir()] == ["NotoSans-Bold.ttf"]


def test_the_same_facts_give_the_same_bytes() -> None:
    first = sheet_of("one", "two")
    sheet_of("something between")
    assert sheet_of("one", "two") == first
    assert sheet_of("one", "three") != first


def test_a_full_sheet_is_set_smaller_to_stay_on_one_page() -> None:
    few, many, more = (sheet_of(*["a line"] * count) for count in (50, 70, 200))
    assert [pdf_reader.pages(pdf) for pdf in (few, many)] == [1, 1]
    assert pdf_reader.pages(more) > 1
    assert f"page 1 of {pdf_reader.pages(more)}" in pdf_reader.text(more)
    assert "page" not in pdf_reader.text(many)


def test_a_long_table_repeats_its_heading() -> None:
    def compose(sheet: Sheet) -> list[Flowable]:
        return [sheet.table(["Heading"], [[sheet.text(f"row {i}")] for i in range(150)], [100])]

    pdf = printed("t", compose, "f")
    assert pdf_reader.text(pdf).count("Heading") == pdf_reader.pages(pdf) > 1
    assert all(f"row {i}" in pdf_reader.text(pdf) for i in range(150))


@pytest.mark.parametrize("side", [15, 20])
def test_a_code_scans_from_a_label_printer(side: int, tmp_path: Path) -> None:
    pdf = printed("t", lambda sheet: [sheet.code("2600317007", side)], "f")
    (code,) = pdf_reader.codes(pdf_reader.picture(pdf, tmp_path))
    assert code.text == "2600317007"
    assert code.format.name == "QRCode"
    assert pdf_reader.millimetres(code) == pytest.approx(side, abs=1)


def test_a_code_scans_when_the_paper_lies_askew_and_out_of_focus(tmp_path: Path) -> None:
    pdf = printed("t", lambda sheet: [sheet.code("2600317007", 20)], "f")
    seen = pdf_reader.picture(pdf, tmp_path).rotate(7, expand=True, fillcolor=255).filter(ImageFilter.GaussianBlur(2))
    assert [code.text for code in pdf_reader.codes(seen)] == ["2600317007"]


def test_a_code_does_not_shrink_with_its_sheet(tmp_path: Path) -> None:
    def compose(sheet: Sheet) -> list[Flowable]:
        return [sheet.code("1", 20), *(sheet.text("a line") for _ in range(60))]

    (code,) = pdf_reader.codes(pdf_reader.picture(printed("t", compose, "f"), tmp_path))
    assert pdf_reader.millimetres(code) == pytest.approx(20, abs=1)


def test_smallest_text_is_still_read_without_effort() -> None:
    assert min(paper.SCALES) * 8.8 > 6.9
