"""What a practice orders, as it was typed or sent: plain values that the checks read."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal


@dataclass(frozen=True)
class ItemFacts:
    """One piece. `tooth` is what was written, in `notation`; `platform` is in millimetres as on the implant's label.

    An empty `retention` stands for the usual one: an abutment is screwed, a crown on it cemented, a one-piece crown
    screwed.
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


@dataclass(frozen=True)
class OrderFacts:
    """A whole order. `seat_at` is the patient's appointment; None where there is none yet."""

    patient_ref: str
    stage: str
    seat_at: datetime | None
    note: str
    items: Sequence[ItemFacts]
