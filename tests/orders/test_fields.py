"""The fields of a prescription as data: all of them, each once, each a column that exists."""

from collections import Counter
from typing import Any

import pytest

from orders.facts import ITEM_COLUMNS, ORDER_COLUMNS, OrderFacts
from orders.fields import FIELDS, Effect, Field, Of, column_label, field_of, missing, names_of
from orders.models import Attachment, Case, Item, Prescription
from tests.orders import build

MODELS: dict[Of, Any] = {Of.CASE: Case, Of.ORDER: Prescription, Of.SIGNATURE: Prescription, Of.ITEM: Item}


def test_all_32_are_there() -> None:
    assert {field.number for field in FIELDS} == set(range(33))


def test_each_column_belongs_to_one_field() -> None:
    counted = Counter((field.of, name) for field in FIELDS for name in field.names)
    assert set(counted.values()) == {1}
    for (of, name), _ in counted.items():
        if of == Of.FILES:
            assert name in Attachment.Role.values
        else:
            assert name == "items" or MODELS[of]._meta.get_field(name).name == name


def test_every_column_of_an_order_has_its_field() -> None:
    assert set(names_of(Of.ITEM)) == {*ITEM_COLUMNS, "tooth"} - {"kind"}
    assert set(names_of(Of.ORDER)) == {*ORDER_COLUMNS, "items"}


@pytest.mark.parametrize(
    "field", [field for field in FIELDS if field.effect in (Effect.REFUSE, Effect.HOLD, Effect.ASK)]
)
def test_what_is_missed_says_what_is_wanted(field: Field) -> None:
    assert field.want.endswith(".")
    assert len(field.want) > 15


def concerned(name: str, order: OrderFacts, item: Item | None = None) -> bool:
    """Whether the field of that column is asked there."""
    return field_of(name).concerns(order, item)


def order(**facts: Any) -> OrderFacts:
    """A usual order as facts."""
    return OrderFacts(
        **{"patient_ref": "K-2041", "stage": "final", "items": [build.abutment(), build.crown()], **facts}
    )


@pytest.mark.parametrize(
    ("name", "asked", "not_asked"),
    [
        ("system", [("abutment", 11), ("screw_crown", 11)], [("crown", 11)]),
        ("margin_facial", [("abutment", 36)], [("crown", 36), ("screw_crown", 36)]),
        ("emergence", [("abutment", 11), ("screw_crown", 11)], [("crown", 11)]),
        ("shade", [("crown", 36), ("screw_crown", 36)], [("abutment", 36)]),
        ("texture", [("crown", 11), ("screw_crown", 23)], [("crown", 14), ("abutment", 11)]),
        ("material", [("crown", 11), ("abutment", 11)], []),
    ],
)
def test_which_pieces_are_asked(name: str, asked: list[Any], not_asked: list[Any]) -> None:
    answers = {piece: concerned(name, order(), Item(kind=piece[0], tooth=piece[1])) for piece in asked + not_asked}
    assert answers == dict.fromkeys(asked, True) | dict.fromkeys(not_asked, False)


@pytest.mark.parametrize(
    ("name", "asked", "not_asked"),
    [
        ("analog", {"impression": "open_tray"}, {"impression": "scan"}),
        ("scanned_on", {"impression": "scan"}, {"impression": "closed_tray"}),
        ("disinfected_with", {"impression": "open_tray"}, {"impression": "scan"}),
        ("disinfected_with", {"impression": "scan", "enclosed": ["screw"]}, {"impression": ""}),
        ("allergens", {"allergy": "yes"}, {"allergy": "unknown"}),
        ("opposing", {}, {"items": [build.abutment()]}),
        ("origin", {"stage": "final"}, {"stage": "provisional"}),
    ],
)
def test_which_orders_are_asked(name: str, asked: dict[str, Any], not_asked: dict[str, Any]) -> None:
    assert concerned(name, order(**asked))
    assert not concerned(name, order(**not_asked))


def test_an_angle_is_asked_of_an_angulated_channel() -> None:
    straight, angled = (Item(kind="screw_crown", tooth=11, retention=word) for word in ("screw", "angled_screw"))
    assert concerned("angle", order(), angled)
    assert not concerned("angle", order(), straight)


def test_what_says_nothing_is_missing() -> None:
    assert missing(("system", "platform", "engaging"), Item(system="", platform=None)) == ["system", "platform"]
    assert missing(("system", "platform"), Item(system="Averin C", platform=430)) == []
    assert missing(("allergens",), Prescription()) == ["allergens"]


def test_columns_in_words() -> None:
    assert column_label("margin_facial") == "margin facial"
