"""The conversation for programs: the same verbs, the same refusals."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from orders.talk.remind import remind
from tests import cast
from tests.orders import build
from tests.orders.talk.build import DAY, approver, asked_case, design, shown_design
from tests.orders.test_api import Program

pytestmark = pytest.mark.django_db


def pointers(answer: object) -> set[str]:
    """Where the faults of a refusal are."""
    return {error["pointer"] for error in answer.json()["errors"]}  # type: ignore[attr-defined]


def test_a_question_is_read_and_answered() -> None:
    case, question = asked_case()
    remind(question.at + DAY)
    practice, laboratory = Program(cast.assistant()), Program(cast.technician())
    (asked,) = practice.ask("GET", f"/{case.number}/messages").json()
    assert (asked["id"], asked["kind"], asked["text"]) == (question.pk, "question", "Which screw?")
    assert (asked["by"], asked["open"], len(asked["reminded"])) == ("the laboratory", True, 1)
    done = practice.ask("POST", f"/{case.number}/messages/{question.pk}/answer", {"text": "The long one."})
    assert done.status_code == 201
    assert [(one["kind"], one["answers"], one["open"]) for one in done.json()] == [
        ("note", None, False),
        ("answer", question.pk, False),
        ("question", None, False),
    ]
    names = [one["by"] for one in laboratory.ask("GET", f"/{case.number}/messages").json()]
    assert names == ["the service", "Assistant-northgate Test", "Tessa Test"]
    case.refresh_from_db()
    assert not case.on_hold


def test_a_second_answer_is_a_conflict() -> None:
    case, question = asked_case()
    program, path = Program(cast.assistant()), f"/{case.number}/messages/{question.pk}/answer"
    assert program.ask("POST", path, {"text": ""}).status_code == 422
    assert program.ask("POST", path, {"text": "The long one."}).status_code == 201
    again = program.ask("POST", path, {"text": "The short one."})
    assert (again.status_code, case.messages.filter(kind="answer").count()) == (409, 1)


def test_a_note_is_written_by_who_takes_part() -> None:
    case = build.signed_case()
    written = Program(cast.technician()).ask("POST", f"/{case.number}/messages", {"text": "We have it."})
    assert (written.status_code, written.json()[0]["text"]) == (201, "We have it.")
    assert Program(cast.shipper()).ask("POST", f"/{case.number}/messages", {"text": "x"}).status_code == 403
    stranger = Program(cast.assistant("southgate"))
    assert stranger.ask("POST", f"/{case.number}/messages", {"text": "x"}).status_code == 404


def test_a_design_is_shown_and_approved() -> None:
    case = build.accepted_case()
    file, person = design(case), approver()
    body = {"text": "Please look.", "attachment": file.pk, "line": 1, "figures": {"wall": "0.5", "angle": "12"}}
    shown = Program(cast.technician()).ask("POST", f"/{case.number}/approval", body)
    assert shown.status_code == 201
    (asked,) = shown.json()
    assert asked["attachment"] == file.pk
    assert asked["figures"].pop("piece").endswith("titanium alloy")
    assert asked["figures"] == {"line": 1, "wall": "0.5", "angle": "12"}
    path = f"/{case.number}/messages/{asked['id']}/approve"
    assert Program(cast.assistant()).ask("POST", path, {"decision": "approve"}).status_code == 403
    done = Program(person).ask("POST", path, {"decision": "approve"})
    assert done.status_code == 201
    assert [one["by"] for one in done.json() if one["kind"] == "approved"] == [person.shown_name]


def test_changes_are_wanted_in_words() -> None:
    case, shown = shown_design()
    program, path = Program(approver()), f"/{case.number}/messages/{shown.pk}/approve"
    assert pointers(program.ask("POST", path, {"decision": "change"})) == {"/text"}
    assert pointers(program.ask("POST", path, {"decision": "perhaps"})) == {"/decision"}
    assert program.ask("POST", path, {"decision": "change", "text": "Lower."}).status_code == 201
    assert case.messages.get(kind="changes").text == "Lower."


def test_a_design_that_cannot_be_is_refused_at_its_figure() -> None:
    case, other = build.accepted_case(), build.accepted_case(patient_ref="K-7")
    program, path = Program(cast.technician()), f"/{case.number}/approval"
    body = {"text": "Look.", "attachment": design(case).pk, "line": 1}
    thin = program.ask("POST", path, {**body, "figures": {"wall": "0.3"}})
    assert (thin.status_code, pointers(thin)) == (422, {"/figures/wall"})
    assert thin.json()["errors"][0]["code"] == "V07"
    assert pointers(program.ask("POST", path, {**body, "attachment": design(other).pk})) == {"/attachment"}
    assert not case.messages.exists()


def test_more_that_was_said_takes_no_more_queries() -> None:
    case = build.signed_case()
    program, counts = Program(cast.assistant()), []
    for _ in range(4):
        with CaptureQueriesContext(connection) as queries:
            program.ask("GET", f"/{case.number}/messages")
        counts.append(len(queries))
        program.ask("POST", f"/{case.number}/messages", {"text": "More."})
    assert counts[2] == counts[3]
