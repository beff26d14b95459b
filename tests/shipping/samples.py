"""Facts for papers as they are frozen, written out by hand, and ways to turn them into what nobody expects."""

from typing import Any

from shipping.papers.cautions import cautions
from shipping.papers.invoice import InvoiceFacts
from shipping.papers.slip import Address, Piece, SlipFacts

LABORATORY: Address = {"name": "Tidewater Bench", "address": "12 Kiln Lane", "extra": "Registration: none"}
PRACTICE: Address = {"name": "Northgate Dental", "address": "1 Test Lane", "extra": "555 0100"}
TEETH = [
    ("8 Universal", "11 FDI", "upper right central incisor"),
    ("14 Universal", "26 FDI", "upper left first molar"),
    ("30 Universal", "46 FDI", "lower right first molar"),
]


def pieces() -> list[Piece]:
    """Three teeth with an abutment and a crown each."""
    found: list[Piece] = []
    for tooth, other, words in TEETH:
        place = {"tooth": tooth, "tooth_other": other, "words": words}
        abutment = {"piece": "Abutment, screw-retained", "material": "Titanium alloy", "shade": ""}
        implant = {"implant": "Averin C, conical with index, 4.3 mm"}
        lots = [{"number": "CT-55210", "product": "Corvane Ti Blank"}]
        found.append({"line": len(found) + 1, **place, **abutment, **implant, "lots": lots})  # type: ignore[typeddict-item]
        crown = {"piece": "Crown on an abutment, cement-retained", "material": "Zirconia 4Y", "shade": "N2"}
        lots = [{"number": "BZ4-2209", "product": "Brightwell Z4 Disc"}]
        found.append({"line": len(found) + 1, **place, **crown, "implant": "on the abutment", "lots": lots})  # type: ignore[typeddict-item]
    return found


def slip() -> SlipFacts:
    """A slip with as many cautions as there can be."""
    said = cautions("provisional", {"abutment", "crown"}, ["cobalt_chrome", "zirconia_4y"], {"cement", "screw"}, True)
    return {
        "case": "2600317",
        "code": "2600317005",
        "laboratory": LABORATORY,
        "practice": PRACTICE,
        "patient": "K-2041",
        "prescriber": "Ada Moreau",
        "licence": "D-1001",
        "prescription": "Version 1, signed Mon 16 Nov 2026",
        "stage": "Provisional",
        "seat": "Fri 27 Nov 2026, 10:30",
        "packed": "Packed Tue 24 Nov 2026",
        "pieces": pieces(),
        "parts": ["3 x Clinical screw: Corvane Clinical Screw, lot CS-90415"],
        "statement": "Custom-made device.",
        "cautions": said,
    }


def invoice() -> InvoiceFacts:
    """An invoice with three lines."""
    lines = [
        ("Milled metal abutment", 1, "210.00", "210.00"),
        ("Screw", 2, "25.00", "50.00"),
        ("Courier", 1, "9.00", "9.00"),
    ]
    return {
        "number": "INV-2026-00042",
        "issued": "Tue 24 Nov 2026",
        "delivered": "Mon 23 Nov 2026",
        "case": "2600317",
        "patient": "K-2041",
        "teeth": "8 Universal (11 FDI)",
        "laboratory": LABORATORY,
        "practice": PRACTICE,
        "lines": [
            {"line": number, "text": text, "quantity": quantity, "unit": unit, "net": net}
            for number, (text, quantity, unit, net) in enumerate(lines, 1)
        ],
        "currency": "USD",
        "net": "269.00",
        "tax_text": "Tax 19 %",
        "tax": "51.11",
        "gross": "320.11",
    }


def texts(facts: Any) -> list[str]:
    """Every text in some facts."""
    if isinstance(facts, dict):
        return [text for part in facts.values() for text in texts(part)]
    return [text for part in facts for text in texts(part)] if isinstance(facts, list) else [str(facts)]


def with_text(facts: Any, text: str) -> Any:
    """The same facts with every text replaced by `text`, but for the digits of the code."""
    if isinstance(facts, dict):
        return {key: part if key in ("code", "line") else with_text(part, text) for key, part in facts.items()}
    return [with_text(part, text) for part in facts] if isinstance(facts, list) else text
