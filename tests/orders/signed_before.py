"""A prescription as it was signed before orders could say all that they say now, and the hashes of it, written down."""

from datetime import UTC, datetime
from typing import Any

CASE: dict[str, Any] = {"number": "2600042", "patient_ref": "K-2041", "stage": "final"}
PRACTICE_CODE = "northgate"
MEMBER = 7
VERSION: dict[str, Any] = {
    "version": 2,
    "seat_at": datetime(2026, 12, 8, 14, 0, tzinfo=UTC),
    "note": "Light contacts.",
    "signed_by_id": MEMBER,
    "licence_number": "D-1234",
    "signed_at": datetime(2026, 11, 20, 9, 30, 15, 123456, tzinfo=UTC),
}
ITEMS: list[dict[str, Any]] = [
    {
        "line": 1,
        "stage": "final",
        "kind": "abutment",
        "tooth": 11,
        "material": "titanium",
        "retention": "screw",
        "system": "Averin C",
        "connection": "conical",
        "platform": 430,
    },
    {
        "line": 2,
        "stage": "final",
        "kind": "crown",
        "tooth": 11,
        "material": "zirconia_4y",
        "retention": "cement",
        "shade": "N2",
    },
]
MARK = "b56c47d7de41a06296e03b84506bb67829c4bd7fad9a4db60582a2a5eb8aee5f"
SEAL = "1b3f3192eb35c925790f6ed4b553b13d50be5f342dd019835580d351d81c2de8"
