"""The list of cases for a spreadsheet."""

import csv
from io import StringIO

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from labqueue.base.models import User
from orders.day.export import COLUMNS, harmless, lines
from orders.hold import hold
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused

pytestmark = pytest.mark.django_db


def table(user: User, state: str = "all") -> list[dict[str, str]]:
    """The rows, read back."""
    text = "".join(lines(user, state))
    assert text.startswith("\ufeff")
    return list(csv.DictReader(StringIO(text.removeprefix("\ufeff"), newline="")))


def test_each_piece_has_a_line() -> None:
    case = build.signed_case(patient_ref="K-7")
    rows = table(cast.assistant())
    assert [(row["Case"], row["Piece"], row["Material"]) for row in rows] == [
        (case.number, "Abutment", "Titanium alloy"),
        (case.number, "Crown on an abutment", "Zirconia 4Y"),
    ]
    assert {row["Patient reference"] for row in rows} == {"K-7"}
    assert (rows[0]["Tooth (FDI)"], rows[0]["Tooth"][:2]) == ("11", "8 ")
    assert rows[1]["Shade"] == build.SHADE
    assert case.due_at is not None
    assert rows[0]["Leaves"].startswith(f"{case.due_at:%Y-%m-%dT}")
    assert rows[0]["Risk of being late"] == ""


def test_the_manager_reads_all_practices_and_no_patient_reference() -> None:
    build.signed_case(patient_ref="K-7")
    build.signed_case(cast.prescriber("southside"), patient_ref="K-8")
    rows = table(cast.manager())
    assert {row["Practice"] for row in rows} == {"northgate", "southside"}
    assert {row["Patient reference"] for row in rows} == {""}


def test_a_practice_reads_its_own_only() -> None:
    build.signed_case(cast.prescriber("southside"))
    assert table(cast.assistant()) == []


def test_it_can_be_narrowed_to_a_state() -> None:
    build.signed_case()
    held = hold(cast.manager(), build.signed_case(patient_ref="K-9"), "Which shade?")
    assert {row["Case"] for row in table(cast.assistant(), "hold")} == {held.number}


def test_what_people_typed_is_no_formula_in_the_file() -> None:
    build.signed_case(items=[build.abutment(), build.crown(shade="=1+1")])
    assert table(cast.assistant())[1]["Shade"] == "'=1+1"


@pytest.mark.parametrize(
    ("cell", "written"),
    [("=1+1", "'=1+1"), ("+x", "'+x"), ("-x", "'-x"), ("@x", "'@x"), ("\tx", "'\tx"), ("x=1", "x=1"), ("", "")],
)
def test_no_cell_is_a_formula(cell: str, written: str) -> None:
    assert harmless(cell) == written


def test_it_takes_as_many_queries_for_many_cases() -> None:
    build.signed_case()
    reader = cast.assistant()
    with CaptureQueriesContext(connection) as one:
        table(reader)
    for number in range(4):
        build.signed_case(patient_ref=f"K-{number}")
    with CaptureQueriesContext(connection) as many:
        assert len(table(reader)) == 10
    assert len(many) == len(one)


def test_the_page_gives_a_file(client: Client) -> None:
    build.signed_case()
    client.force_login(cast.assistant())
    response = client.get("/cases.csv?state=open")
    assert response["Content-Type"].startswith("text/csv")
    assert response["Content-Disposition"].startswith('attachment; filename="cases-')
    heading = b"".join(response).decode().split("\r\n")[0]
    assert heading.removeprefix("\ufeff").split(",")[0] == COLUMNS[0]


def test_an_unknown_state_is_refused() -> None:
    with refused("state", "is no state"):
        table(cast.manager(), "nonsense")


def test_an_unknown_state_is_refused_as_a_page(client: Client) -> None:
    client.force_login(cast.manager())
    assert client.get("/cases.csv?state=nonsense").status_code == 422
