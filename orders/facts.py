"""What a practice orders, as it was typed or sent: plain values that the checks read."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from orders import teeth
from orders.models import Case, Item, Prescription
from orders.models.columns import LENGTHS_MM


@dataclass(frozen=True)
class ItemFacts:
    """One piece. `tooth` is what was written, in `notation`; lengths are in millimetres, `angle` in degrees.

    An empty `retention` stands for the usual one: an abutment is screwed, a crown on it cemented, a one-piece crown
    screwed. An empty `base` stands for the usual one of the material. `shade` is that of the body of the crown.
    """

    kind: str
    tooth: str
    notation: str
    material: str
    layered: bool = False
    shade: str = ""
    retention: str = ""
    system: str = ""
    connection: str = ""
    platform: Decimal | None = None
    catalogue: str = ""
    lot: str = ""
    level: str = ""
    engaging: bool = True
    splinted: bool = False
    angle: int | None = None
    base: str = ""
    margin_facial: Decimal | None = None
    margin_lingual: Decimal | None = None
    margin_mesial: Decimal | None = None
    margin_distal: Decimal | None = None
    gingival_facial: Decimal | None = None
    gingival_lingual: Decimal | None = None
    gingival_mesial: Decimal | None = None
    gingival_distal: Decimal | None = None
    chimney: Decimal | None = None
    height: Decimal | None = None
    implant_length: Decimal | None = None
    tissue_recorded: bool = False
    emergence: str = ""
    scan_body: str = ""
    scan_platform: Decimal | None = None
    shade_guide: str = ""
    shade_cervical: str = ""
    shade_incisal: str = ""
    stump: str = ""
    stump_shade: str = ""
    occlusion: str = ""
    contacts: str = "normal"
    texture: str = ""
    lustre: str = ""
    characterisation: str = ""


@dataclass(frozen=True)
class ReasonFacts:
    """Why something unusual is wanted all the same: which rule it answers, of which tooth; none is the whole order.

    `kept` is one that a version says already, and that nobody gives anew.
    """

    rule: str
    text: str
    tooth: str = ""
    notation: str = ""
    kept: bool = False


@dataclass(frozen=True)
class OrderFacts:
    """A whole order. `seat_at` is the patient's appointment; None where there is none yet.

    `origin` is the number of the earlier case that this one is related to. Empty `approval` and `parts` stand for what
    the practice has agreed on.
    """

    patient_ref: str
    stage: str
    seat_at: datetime | None = None
    note: str = ""
    items: Sequence[ItemFacts] = ()
    impression: str = ""
    scanned_on: date | None = None
    analog: str = ""
    opposing: str = ""
    bite: str = ""
    enclosed: Sequence[str] = ()
    disinfected_with: str = ""
    disinfected_minutes: int | None = None
    guidance: str = ""
    bruxism: str = ""
    allergy: str = ""
    allergens: Sequence[str] = ()
    allergy_note: str = ""
    approval: str = ""
    contact: str = ""
    parts: str = ""
    rush: bool = False
    delivery: str = ""
    origin: str = ""
    relation: str = ""
    cause: str = ""
    cause_note: str = ""
    reasons: Sequence[ReasonFacts] = ()


# What is said by itself, not by a column of the same name.
APART = {"tooth", "notation"}
OF_CASE = ("patient_ref", "stage", "relation", "cause", "cause_note")
ITEM_COLUMNS = tuple(field.name for field in fields(ItemFacts) if field.name not in APART)
ORDER_COLUMNS = tuple(
    field.name for field in fields(OrderFacts) if field.name not in {*OF_CASE, "items", "origin", "reasons"}
)


def millimetres(hundredths: int | None) -> Decimal | None:
    """A length as people and programs write it."""
    return None if hundredths is None else Decimal(hundredths) / 100


def item_facts(item: Item) -> ItemFacts:
    """A piece that was written, as facts again."""
    values: dict[str, Any] = {name: getattr(item, name) for name in ITEM_COLUMNS}
    values |= {name: millimetres(values[name]) for name in LENGTHS_MM}
    return ItemFacts(tooth=teeth.sign(item.tooth, teeth.Notation.FDI), notation=teeth.Notation.FDI, **values)


def order_facts(case: Case, prescription: Prescription) -> OrderFacts:
    """A version of a prescription that was written, as facts again."""
    items = {item.line: item_facts(item) for item in prescription.items.all()}
    return OrderFacts(
        **{name: getattr(case, name) for name in OF_CASE},
        **{name: getattr(prescription, name) for name in ORDER_COLUMNS},
        items=list(items.values()),
        origin=case.origin.number if case.origin else "",
        reasons=[
            ReasonFacts(one.rule, one.text, items[one.line].tooth, teeth.Notation.FDI, kept=True)
            if one.line in items
            else ReasonFacts(one.rule, one.text, kept=True)
            for one in prescription.reasons.all()
        ],
    )
