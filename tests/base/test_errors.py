"""The one shape of everything that is refused."""

import pytest

from labqueue.base.errors import Conflict, Fault, Forbidden, NotFound, Refusal, refuse


@pytest.mark.parametrize(
    ("field", "pointer"),
    [
        ("", ""),
        ("tooth", "/tooth"),
        ("items.0.material", "/items/0/material"),
        ("a/b", "/a~1b"),
        ("a~b", "/a~0b"),
        ("~1", "/~01"),
    ],
)
def test_a_field_is_a_json_pointer(field: str, pointer: str) -> None:
    assert Fault("code", "message", field).pointer == pointer


def test_refuse_makes_a_refusal_of_one_fault() -> None:
    refusal = refuse("tooth", "Give a tooth.", "tooth")
    assert type(refusal) is Refusal
    assert refusal.faults == (Fault("tooth", "Give a tooth.", "tooth"),)
    assert str(refusal) == "Give a tooth."


@pytest.mark.parametrize(("kind", "status"), [(Refusal, 422), (NotFound, 404), (Forbidden, 403), (Conflict, 409)])
def test_each_kind_has_its_status(kind: type[Refusal], status: int) -> None:
    refusal = refuse("x", "No.", kind=kind)
    assert type(refusal) is kind
    assert refusal.status == status


def test_several_faults_are_told_together() -> None:
    refusal = Refusal(iter([Fault("a", "Give a.", "a"), Fault("b", "Give b.", "b")]))
    assert str(refusal) == "Give a. Give b."
    assert [fault.field for fault in refusal.faults] == ["a", "b"]
