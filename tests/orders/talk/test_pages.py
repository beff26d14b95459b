"""The conversation on pages: read by both sides, answered by the practice, refused in its place."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from orders.talk.answer import answer
from orders.talk.stops import stop
from orders.talk.write import write
from tests import cast
from tests.orders import build
from tests.orders.talk.build import approver, asked_case, design, shown_design
from tests.orders.test_case_pages import browser, text

pytestmark = pytest.mark.django_db


def test_the_practice_reads_what_is_asked_and_by_the_laboratory() -> None:
    case, question = asked_case()
    page = text(browser(cast.assistant()).get(f"/cases/{case.number}/talk"))
    assert "Which screw?" in page
    assert "The laboratory, " in page
    assert "Tessa" not in page
    assert f'action="/cases/{case.number}/messages/{question.pk}/answer"' in page
    assert page.count("Send the answer") == 1


def test_the_laboratory_reads_names() -> None:
    case, _ = asked_case()
    write(cast.assistant(), case, "Wait a moment.")
    page = text(browser(cast.manager()).get(f"/cases/{case.number}/talk"))
    assert "Assistant-northgate Test" in page
    assert "Tessa Test" in page
    assert "What the practice said" in page


def test_who_only_ships_reads_and_writes_nothing() -> None:
    case, _ = asked_case()
    page = text(browser(cast.shipper()).get(f"/cases/{case.number}/talk"))
    assert "Which screw?" in page
    assert "<form" not in page.split('id="talk"')[1]


def test_the_case_has_it_as_a_part() -> None:
    case, _ = asked_case()
    client = browser(cast.assistant())
    assert f'hx-get="/cases/{case.number}/talk"' in text(client.get(f"/cases/{case.number}"))
    part = text(client.get(f"/cases/{case.number}/talk", headers={"HX-Request": "true"}))
    assert "<html" not in part


def test_the_case_says_that_it_waits_and_the_conversation_for_what() -> None:
    case, question = asked_case()
    client = browser(cast.assistant())
    page = text(client.get(f"/cases/{case.number}"))
    notice = page[page.index("The laboratory waits for an answer.") :].split("</div>")[0]
    assert "Which screw?" not in notice
    assert 'href="#talk"' in notice
    assert page.count('id="talk"') == 1
    assert text(client.get(f"/cases/{case.number}/talk", headers={"HX-Request": "true"})).count('id="talk"') == 1
    client.post(f"/cases/{case.number}/messages/{question.pk}/answer", {"text": "The long one."})
    assert "waits for an answer" not in text(client.get(f"/cases/{case.number}"))


def test_an_answer_leads_back_to_the_case_which_goes_on() -> None:
    case, question = asked_case()
    client = browser(cast.assistant())
    sent = client.post(f"/cases/{case.number}/messages/{question.pk}/answer", {"text": "The long one."}, follow=True)
    assert sent.redirect_chain == [(f"/cases/{case.number}", 302)]
    assert f"Case {case.number} goes on." in text(sent)
    page = text(client.get(f"/cases/{case.number}/talk"))
    assert "to “Which screw?”" in page
    assert "The case goes on. It leaves by" in page
    assert "Send the answer" not in page


def test_the_first_of_two_answers_says_that_more_is_open() -> None:
    case, question = asked_case()
    stop(case, "missing", "Give the shade.")
    address = f"/cases/{case.number}/messages/{question.pk}/answer"
    assert "still waits for an answer" in text(browser(cast.assistant()).post(address, {"text": "Long."}, follow=True))


def test_an_empty_answer_is_shown_again_in_its_place() -> None:
    case, question = asked_case()
    shade = stop(case, "duplicate", "Two orders for one tooth.")
    sent = browser(cast.assistant()).post(f"/cases/{case.number}/messages/{shade.pk}/answer", {"text": " "})
    assert sent.status_code == 422
    page = text(sent)
    assert page.count("Not sent.") == 1
    assert page.index("Not sent.") < page.index(f"say-{shade.pk}-text") < page.index(f"say-{question.pk}-text")
    assert case.messages.filter(kind="answer").count() == 0


def test_a_second_answer_is_refused_as_a_page() -> None:
    case, question = asked_case()
    answer(cast.assistant(), case, question, "The long one.")
    sent = browser(cast.prescriber()).post(f"/cases/{case.number}/messages/{question.pk}/answer", {"text": "Short."})
    assert sent.status_code == 409
    assert "Somebody answered this before you" in text(sent)


def test_a_note_is_sent_or_shown_again() -> None:
    case = build.signed_case()
    client, address = browser(cast.technician()), f"/cases/{case.number}/messages"
    assert client.post(address, {"text": ""}).status_code == 422
    assert client.post(address, {"text": "We have it."}).status_code == 302
    assert "We have it." in text(client.get(f"/cases/{case.number}/talk"))


def test_what_was_said_of_another_case_is_not_there() -> None:
    _, question = asked_case()
    other = build.signed_case(patient_ref="K-7")
    client = browser(cast.assistant())
    assert client.post(f"/cases/{other.number}/messages/{question.pk}/answer", {"text": "x"}).status_code == 404
    stranger = browser(cast.assistant("southgate"))
    assert stranger.get(f"/cases/{other.number}/talk").status_code == 404
    assert stranger.post(f"/cases/{other.number}/messages", {"text": "x"}).status_code == 404


def test_more_that_was_said_takes_no_more_queries() -> None:
    case, _ = asked_case()
    client, counts = browser(cast.assistant()), []
    for _ in range(3):
        with CaptureQueriesContext(connection) as queries:
            client.get(f"/cases/{case.number}/talk")
        counts.append(len(queries))
        for number in range(4):
            answer(cast.assistant(), case, stop(case, "question", f"And {number}?"), "Yes.")
    assert counts[1] == counts[2]


def test_who_may_approves_a_design_with_one_tap() -> None:
    case, shown = shown_design()
    client, address = browser(approver()), f"/cases/{case.number}/messages/{shown.pk}/approve"
    page = text(client.get(f"/cases/{case.number}/talk"))
    assert "Approve the design" in page
    assert "design-1.stl" in page
    sent = client.post(address, {"decision": "approve"}, follow=True)
    assert "is approved under your name" in text(sent)
    assert case.messages.get(kind="approved").by == approver()


def test_changes_are_asked_for_in_words_or_the_form_is_shown_again() -> None:
    case, shown = shown_design()
    client, address = browser(approver()), f"/cases/{case.number}/messages/{shown.pk}/approve"
    sent = client.post(address, {"decision": "change", "text": ""})
    assert sent.status_code == 422
    assert "Not sent." in text(sent)
    assert client.post(address, {"decision": "perhaps"}).status_code == 422
    assert client.post(address, {"decision": "change", "text": "Lower."}).status_code == 302
    assert case.messages.get(kind="changes").text == "Lower."


def test_who_may_not_approve_is_told_who_can() -> None:
    case, shown = shown_design()
    client = browser(cast.assistant())
    page = text(client.get(f"/cases/{case.number}/talk"))
    assert "Somebody of your practice who may approve designs must decide this." in page
    assert "Approve the design" not in page
    address = f"/cases/{case.number}/messages/{shown.pk}/approve"
    assert client.post(address, {"decision": "approve"}).status_code == 403


def test_the_laboratory_shows_a_design_with_its_figures() -> None:
    case = build.accepted_case()
    file = design(case)
    client, address = browser(cast.technician()), f"/cases/{case.number}/approval"
    assert "Show a design for approval" in text(client.get(f"/cases/{case.number}/talk"))
    thin = {"attachment": file.pk, "text": "Look.", "line": "1", "wall": "0.3"}
    sent = client.post(address, thin)
    assert sent.status_code == 422
    assert "V07: The wall has 0.3 mm; 0.45 mm is the least here." in text(sent)
    assert client.post(address, {**thin, "wall": "0.50"}).status_code == 302
    page = text(client.get(f"/cases/{case.number}/talk"))
    assert "design-1.stl" in page
    assert "titanium alloy: wall 0.5 mm" in page
    assert "Approve the design" not in page
    assert "Show a design for approval" not in page, "one waits already"


def test_without_a_design_there_is_nothing_to_show() -> None:
    case = build.accepted_case()
    assert "Show a design" not in text(browser(cast.technician()).get(f"/cases/{case.number}/talk"))


def test_what_is_missing_leads_to_the_prescription() -> None:
    case, _ = asked_case()
    shade = stop(case, "missing", "Give the shade.")
    page = text(browser(cast.assistant()).get(f"/cases/{case.number}/talk"))
    assert "Fill it in" in page
    assert f"say-{shade.pk}-text" not in page
    assert f"say-{shade.pk}-text" in text(browser(cast.technician()).get(f"/cases/{case.number}/talk"))
