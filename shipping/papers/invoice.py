"""The invoice: what was delivered, what it costs and which tax applies. The patient appears by the practice's code."""

from typing import TypedDict

from reportlab.lib.colors import black
from reportlab.platypus import Flowable, Table

from labqueue.base.paper import RIGHT, Sheet, printed
from shipping.papers.slip import Address

TITLE = "Invoice"


class LineFacts(TypedDict):
    """One line; amounts as people read them, in the currency of the invoice."""

    line: int
    text: str
    quantity: int
    unit: str
    net: str


class InvoiceFacts(TypedDict):
    """Everything that is printed, as text. `tax_text` says which tax, or why there is none."""

    number: str
    issued: str
    delivered: str
    case: str
    patient: str
    teeth: str
    laboratory: Address
    practice: Address
    lines: list[LineFacts]
    currency: str
    net: str
    tax_text: str
    tax: str
    gross: str


def pdf(facts: InvoiceFacts) -> bytes:
    """The invoice as a PDF."""
    foot = f"Invoice {facts['number']} · {facts['laboratory']['name']}, {facts['laboratory']['address']}"
    return printed(f"{TITLE} {facts['number']}", lambda sheet: compose(sheet, facts), foot)


def compose(sheet: Sheet, facts: InvoiceFacts) -> list[Flowable]:
    """From the top: head, who and when, lines, sums."""
    return [
        head(sheet, facts),
        sheet.rule(),
        about(sheet, facts),
        sheet.space(6),
        lines(sheet, facts),
        sheet.space(2),
        sums(sheet, facts),
    ]


def head(sheet: Sheet, facts: InvoiceFacts) -> Table:
    """The number, and who issues it."""
    laboratory = facts["laboratory"]
    maker = [sheet.text(laboratory["name"], 12, bold=True)]
    maker += [sheet.text(line, 9) for line in (laboratory["address"], laboratory["extra"])]
    number = [sheet.text(TITLE, 10, bold=True), sheet.text(facts["number"], 24, bold=True)]
    return sheet.grid([[number, maker]], [90, 92])


def about(sheet: Sheet, facts: InvoiceFacts) -> Table:
    """Who is billed, when, and for which case."""
    practice = facts["practice"]
    return sheet.grid(
        [
            [
                sheet.labelled("BILLED TO", practice["name"], practice["address"], practice["extra"]),
                [
                    *sheet.labelled("DATE OF INVOICE", facts["issued"]),
                    sheet.space(2),
                    *sheet.labelled("DATE OF DELIVERY", facts["delivered"]),
                ],
                [
                    *sheet.labelled("CASE", facts["case"], bold=True),
                    sheet.space(2),
                    *sheet.labelled("PATIENT CODE AND TEETH", facts["patient"], facts["teeth"]),
                ],
            ]
        ],
        [72, 50, 60],
    )


def lines(sheet: Sheet, facts: InvoiceFacts) -> Table:
    """What is billed, line by line."""
    currency = facts["currency"]
    titles = ("", "Description", "Quantity", f"Unit price {currency}", f"Net {currency}")
    rows = [
        [
            sheet.text(str(line["line"])),
            sheet.text(line["text"]),
            *(sheet.text(text, align=RIGHT) for text in (str(line["quantity"]), line["unit"], line["net"])),
        ]
        for line in facts["lines"]
    ]
    return sheet.table(titles, rows, [9, 97, 20, 30, 26], numbers=2)


def sums(sheet: Sheet, facts: InvoiceFacts) -> Table:
    """Net, tax and gross, under the amounts of the lines."""
    rows = [("Net", facts["net"], False), (facts["tax_text"], facts["tax"], False)]
    rows.append((f"To be paid, {facts['currency']}", facts["gross"], True))
    cells = [["", sheet.text(name, 10, bold), sheet.text(amount, 10, bold, RIGHT)] for name, amount, bold in rows]
    return sheet.grid(cells, [68, 84, 30], ("LINEABOVE", (1, -1), (-1, -1), 1, black))
