"""What exactly was signed: the facts of a prescription as canonical JSON, and their SHA-256.

What was sealed once stays sealed in the same way. So a fact that orders could not say before is only sealed where it
says something else than its default: what is absent means just that.
"""

import hashlib
import json
from datetime import date
from typing import Any

from django.db import models

from labqueue.base.audit import instant
from orders.fields import Of, names_of
from orders.models import Case, Item, Prescription

# Sealed in any case, as ever.
ALWAYS = (
    *("line", "stage", "kind", "tooth", "material", "layered", "shade"),
    *("retention", "system", "connection", "platform"),
)
WHERE_SAID = tuple(name for name in names_of(Of.ITEM) if name not in ALWAYS)
ITEM_FIELDS = (*ALWAYS, *WHERE_SAID)
ORDER_FIELDS = tuple(name for name in names_of(Of.ORDER) if name not in ("items", "seat_at", "note"))
CASE_FIELDS = ("relation", "cause", "cause_note")
# What a piece is made by. Its numbers on labels, and what it was scanned with, can be corrected without making it anew.
SHAPING = tuple(name for name in WHERE_SAID if name not in ("catalogue", "lot", "scan_body", "scan_platform"))


def content(case: Case, prescription: Prescription) -> dict[str, Any]:
    """Everything that a prescriber answers for, as plain values."""
    return {
        "case": case.number,
        "practice": case.practice.code,
        "patient_ref": case.patient_ref,
        "stage": case.stage,
        "version": prescription.version,
        "seat_at": instant(prescription.seat_at) if prescription.seat_at else None,
        "note": prescription.note,
        "items": [item_content(item) for item in prescription.items.all()],
        **said(case, CASE_FIELDS),
        **({"origin": case.origin.number} if case.origin else {}),
        **said(prescription, ORDER_FIELDS),
        **reasons_content(prescription),
    }


def item_content(item: Item) -> dict[str, Any]:
    """One piece as plain values."""
    return {**{field: getattr(item, field) for field in ALWAYS}, **said(item, WHERE_SAID)}


def reasons_content(prescription: Prescription) -> dict[str, Any]:
    """The reasons for what is unusual, each by its name; nothing where there are none."""
    reasons = [
        {"rule": one.rule, "line": one.line, "text": one.text, "by": one.by_id, "at": instant(one.at)}
        for one in sorted(prescription.reasons.all(), key=lambda one: (one.line, one.rule))
    ]
    return {"reasons": reasons} if reasons else {}


def said(row: models.Model, names: tuple[str, ...]) -> dict[str, Any]:
    """Those columns that say something else than their default."""
    values = {name: getattr(row, name) for name in names}
    return {name: plain(value) for name, value in values.items() if value != default(row, name)}


def default(row: models.Model, name: str) -> Any:
    """What a column says where nobody says anything."""
    column: Any = row._meta.get_field(name)
    return column.get_default()


def plain(value: Any) -> Any:
    """As JSON takes it."""
    return value.isoformat() if isinstance(value, date) else value


def mark(case: Case, prescription: Prescription) -> str:
    """The hash of what is to be signed: who signs what was read sends it along."""
    return sha256(content(case, prescription))


def seal(case: Case, prescription: Prescription) -> str:
    """The hash of what was signed, by whom and when."""
    signature = {
        "signed_by": prescription.signed_by_id,
        "licence_number": prescription.licence_number,
        "signed_at": instant(prescription.signed_at) if prescription.signed_at else None,
    }
    return sha256({**content(case, prescription), **signature})


def sha256(facts: dict[str, Any]) -> str:
    """Over canonical JSON: sorted keys, no spaces, ASCII."""
    return hashlib.sha256(json.dumps(facts, sort_keys=True, separators=(",", ":")).encode()).hexdigest()
