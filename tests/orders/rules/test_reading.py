"""V06 at the second reading: what was read again is what was ordered."""

from typing import Any

import pytest

from orders.findings import Moment
from orders.models import Item
from orders.rules import hits
from orders.rules.reading import Reading

ITEM = Item(line=1, kind="abutment", system="Averin C", connection="conical", platform=430, level="bone")
SAME: dict[str, Any] = {"system": "Averin C", "connection": "conical", "platform": 430, "level": "bone"}


def fields(**read: Any) -> list[str]:
    """The fields that were read otherwise."""
    found = hits(Moment.CONFIRM, Reading(ITEM, **{**SAME, **read}))
    assert {one.rule for one in found} <= {"V06"}
    return [one.field for one in found]


def test_v06_the_same_was_read() -> None:
    assert fields() == fields(system="averin  c") == fields(system=" AVERINC ") == []


@pytest.mark.parametrize(
    ("name", "read"),
    [
        ("system", "Averin D"),
        ("system", ""),
        ("connection", "internal_hex"),
        ("connection", ""),
        ("platform", 429),
        ("platform", 431),
        ("platform", None),
        ("level", "tissue"),
        ("level", ""),
    ],
)
def test_v06_something_else_was_read(name: str, read: Any) -> None:
    assert fields(**{name: read}) == [name]


def test_v06_says_both_values_and_what_to_do() -> None:
    (found,) = hits(Moment.CONFIRM, Reading(ITEM, **{**SAME, "platform": 480}))
    assert str(found) == (
        "V06: The platform was read as “4.8 mm”, ordered is “4.3 mm”. "
        "Read it again; if it stays so, ask the practice and let it correct the prescription."
    )
