"""The case slip, which lies in the box: whose case it is, what was made of what, and what to mind. No price on it."""

from typing import TypedDict

from reportlab.platypus import Flowable, Table

from labqueue.base.paper import Sheet, printed

TITLE = "Case slip"
CODE_MM = 20
FOOT = "Rx only. Decision support only, the prescriber is responsible for clinical suitability."


class Address(TypedDict):
    """A house: the laboratory (its registration in `extra`) or the practice (its telephone)."""

    name: str
    address: str
    extra: str


class Lot(TypedDict):
    """A batch of a material or a part."""

    number: str
    product: str


class Piece(TypedDict):
    """One item, in words. `tooth` in the practice's notation, `tooth_other` in the second one."""

    line: int
    tooth: str
    tooth_other: str
    words: str
    piece: str
    material: str
    shade: str
    implant: str
    lots: list[Lot]


class SlipFacts(TypedDict):
    """Everything that is printed, as text. `code` are the ten digits of the case's code."""

    case: str
    code: str
    laboratory: Address
    practice: Address
    patient: str
    prescriber: str
    licence: str
    prescription: str
    stage: str
    seat: str
    packed: str
    pieces: list[Piece]
    parts: list[str]
    statement: str
    cautions: list[str]


def pdf(facts: SlipFacts) -> bytes:
    """The slip as a PDF: one A4 page."""
    foot = f"{FOOT} · Case {facts['case']} · {facts['laboratory']['name']}"
    return printed(f"{TITLE} {facts['case']}", lambda sheet: compose(sheet, facts), foot)


def compose(sheet: Sheet, facts: SlipFacts) -> list[Flowable]:
    """From the top: head, whose case, pieces, parts, cautions."""
    return [
        head(sheet, facts),
        sheet.rule(),
        whose(sheet, facts),
        sheet.space(2),
        pieces(sheet, facts["pieces"]),
        sheet.space(3),
        *parts(sheet, facts["parts"]),
        *cautions(sheet, facts["cautions"]),
        sheet.space(2),
        sheet.text(facts["statement"], 8.5, bold=True),
    ]


def head(sheet: Sheet, facts: SlipFacts) -> Table:
    """The case number for eyes, the code for scanners, and who made it."""
    laboratory = facts["laboratory"]
    case = [sheet.text(TITLE, 10, bold=True), sheet.text(facts["case"], 34, bold=True)]
    maker = [sheet.text(laboratory["name"], 12, bold=True)]
    maker += [sheet.text(line, 9) for line in (laboratory["address"], laboratory["extra"])]
    code = [sheet.code(facts["code"], CODE_MM), sheet.space(1), sheet.text(facts["code"], 8)]
    return sheet.grid([[case, maker, code]], [66, 96, 20], ("RIGHTPADDING", (-1, 0), (-1, 0), 0))


def whose(sheet: Sheet, facts: SlipFacts) -> Table:
    """Patient, practice, prescriber and dates, in three columns."""
    practice = facts["practice"]
    licence = f"Licence {facts['licence']}"
    first = [
        sheet.labelled("PATIENT CODE", facts["patient"], size=13, bold=True),
        sheet.labelled("STAGE", facts["stage"], size=13, bold=True),
        sheet.labelled("SEAT APPOINTMENT", facts["seat"] or "not given", size=13, bold=True),
    ]
    second = [
        sheet.labelled("PRACTICE", practice["name"], practice["address"], practice["extra"]),
        sheet.labelled("PRESCRIBER", facts["prescriber"], licence),
        sheet.labelled("PRESCRIPTION AND PACKING", facts["prescription"], facts["packed"]),
    ]
    return sheet.grid([first, second], [62, 54, 66])


def pieces(sheet: Sheet, rows: list[Piece]) -> Table:
    """The items table."""
    titles = ("", "Tooth", "Piece", "Material and shade", "Implant", "Material lots")
    return sheet.table(titles, [piece_row(sheet, row) for row in rows], [7, 35, 32, 34, 36, 38])


def piece_row(sheet: Sheet, piece: Piece) -> list[object]:
    """One item."""
    tooth = [sheet.text(piece["tooth"], 12, bold=True), sheet.text(piece["tooth_other"], 9, bold=True)]
    tooth.append(sheet.text(piece["words"], 8.5))
    material = [sheet.text(piece["material"], 9.5)]
    if piece["shade"]:
        material.append(sheet.text(f"Shade {piece['shade']}", 9.5, bold=True))
    lots = [text for lot in piece["lots"] for text in (sheet.text(lot["number"], 9.5), sheet.text(lot["product"], 8.5))]
    line, implant = sheet.text(str(piece["line"]), 9.5), sheet.text(piece["implant"], 9.5)
    return [line, tooth, sheet.text(piece["piece"], 9.5), material, implant, lots or sheet.text("none recorded", 8.5)]


def parts(sheet: Sheet, lines: list[str]) -> list[Flowable]:
    """What else lies in the box."""
    if not lines:
        return []
    return [sheet.text("Parts enclosed", 10.5, bold=True), *(sheet.text(line, 9.5) for line in lines), sheet.space(3)]


def cautions(sheet: Sheet, lines: list[str]) -> list[Flowable]:
    """The cautions, numbered, in two columns that are read downwards."""
    numbered = [(sheet.text(str(i), 8.8, bold=True), sheet.text(line, 8.8)) for i, line in enumerate(lines, 1)]
    half = (len(numbered) + 1) // 2
    columns = [sheet.grid(column, [8, 80]) for column in (numbered[:half], numbered[half:]) if column]
    return [sheet.text("Cautions", 10.5, bold=True), sheet.grid([columns], [91] * len(columns))]
