"""What exactly was signed: the facts of a prescription as canonical JSON, and their SHA-256."""

import hashlib
import json
from typing import Any

from labqueue.base.audit import instant
from orders.models import Case, Item, Prescription

ITEM_FIELDS = (
    *("line", "stage", "kind", "tooth", "material", "layered", "shade"),
    *("retention", "system", "connection", "platform"),
)


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
    }


def item_content(item: Item) -> dict[str, Any]:
    """One piece as plain values."""
    return {field: getattr(item, field) for field in ITEM_FIELDS}


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
