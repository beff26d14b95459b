"""The history of a case for people."""

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from labqueue.base import audit
from labqueue.base.models import User
from orders.hold import hold, resume
from orders.models import Case
from orders.signoff import amend
from orders.trail import trail_of
from tests import cast
from tests.orders import build
from tests.orders.scans import scanned

pytestmark = pytest.mark.django_db


def words(case: Case, reader: User) -> list[str]:
    """What the lines of the trail say."""
    return [line.what for line in trail_of(case, reader)]


def test_everything_that_happened_the_latest_first() -> None:
    case = build.accepted_case()
    hold(cast.technician(), case, "Which shade?")
    amend(cast.assistant(), case)
    assert [(line.what, line.by) for line in trail_of(case, cast.manager())] == [
        ("Change begun (version 2)", "Assistant-northgate Test"),
        ("Put on hold: Which shade?", "Tessa Test"),
        ("Accepted", "Magnus Test"),
        ("Signed", "Doctor-northgate Test"),
        ("Opened (version 1)", "Doctor-northgate Test"),
    ]


def test_a_practice_reads_no_names_of_the_laboratory() -> None:
    case = build.accepted_case()
    hold(cast.technician(), case, "Which shade?")
    assert [line.by for line in trail_of(case, cast.assistant())] == [
        *("the laboratory", "the laboratory", "Doctor-northgate Test", "Doctor-northgate Test")
    ]


def test_the_service_has_a_name_too() -> None:
    case = build.signed_case()
    audit.record(case, "reminded", None)
    assert [trail_of(case, reader)[0].by for reader in (cast.manager(), cast.assistant())] == ["the service"] * 2


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({}, "Scanned: mill, start, piece 2600001014"),
        ({"action": "done"}, "Scanned: mill, done, piece 2600001014"),
        ({"lot": "CT-55210"}, "Scanned: mill, start, piece 2600001014, lot CT-55210"),
        ({"attempt": 2}, "Scanned: mill, start, piece 2600001014, attempt 2"),
    ],
)
def test_a_scan_says_what_it_was(facts: dict[str, Any], said: str) -> None:
    case = build.accepted_case()
    scanned(case, **{"piece": "2600001014", **facts})
    assert words(case, cast.manager())[0] == said


def test_laying_out_names_the_version_and_the_pieces() -> None:
    case = build.accepted_case()
    after = {"prescription": 2, "made": ["2600001030"], "kept": ["2600001014", "2600001022"]}
    audit.record(case, "laid out", cast.manager(), after=after)
    said = "Laid out (version 2): made 2600001030; kept 2600001014, 2600001022"
    assert words(case, cast.manager())[0] == said


def test_a_few_scans_stand_open() -> None:
    case = build.accepted_case()
    scanned(case, 3)
    lines = trail_of(case, cast.manager())
    assert [line.what.split(":")[0] for line in lines] == ["Scanned"] * 3 + ["Accepted", "Signed", "Opened (version 1)"]
    assert not any(line.before for line in lines)


def test_the_scans_of_six_pieces_are_folded_run_by_run() -> None:
    case = build.accepted_case()
    scanned(case, 60)
    hold(cast.technician(), case, "Which shade?")
    resume(cast.technician(), case)
    scanned(case, 36)
    lines = trail_of(case, cast.manager())
    assert [(line.what.split(":")[0], len(line.before)) for line in lines] == [
        *(("Scanned", 35), ("Resumed", 0), ("Put on hold", 0), ("Scanned", 59)),
        *(("Accepted", 0), ("Signed", 0), ("Opened (version 1)", 0)),
    ]
    assert lines[0].at > lines[0].before[0].at > lines[0].before[-1].at > lines[1].at


def test_a_trail_needs_one_query_however_long_it_is() -> None:
    case, reader = build.accepted_case(), cast.assistant()
    scanned(case, 20)
    with CaptureQueriesContext(connection) as queries:
        assert len(trail_of(case, reader)[0].before) == 19
    assert len(queries) == 1


@pytest.mark.parametrize(("person", "name"), [(cast.manager, "Tessa Test"), (cast.assistant, "the laboratory")])
def test_the_page_folds_the_scans_and_names_who_may_be_named(person: Any, name: str, client: Client) -> None:
    case = build.accepted_case()
    scanned(case, 96)
    client.force_login(person())
    page = " ".join(client.get(f"/cases/{case.number}").content.decode().split())
    fold = page[page.index("95 scans before, from ") :]
    assert fold.index("</details>") < fold.index("Accepted")
    assert fold[: fold.index("</details>")].count("Scanned: mill, ") == 95
    assert page.count(f"· {name}</span>") >= 96
    assert ("Tessa" in page) == (name == "Tessa Test")
