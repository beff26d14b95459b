"""Mail says that something is asked, and nothing else: to whom it goes, what is in it, and when it is not sent."""

from typing import Any

import pytest
from django.core import mail
from django.core.mail import EmailMessage
from django.utils import timezone

from labqueue.base import outbox
from labqueue.base.models import OutboxRow, User
from orders import tasks
from orders.cancel import cancel
from orders.models import Member
from orders.talk.answer import answer
from orders.talk.approve import want_changes
from orders.talk.ask_approval import ask_approval
from orders.talk.notices import SAID
from orders.talk.remind import remind
from orders.talk.stops import stop
from orders.talk.write import write
from tests import cast
from tests.orders import build
from tests.orders.talk.build import DAY, approver, asked_case, design
from tests.orders.treatment.test_evaluate import seated

pytestmark = pytest.mark.django_db

ADDRESS = "doctor@northgate.example"


def sent() -> list[EmailMessage]:
    """Everything that waits is sent, as a worker does it; the mails, in order."""
    for row in OutboxRow.objects.filter(kind="mail", state="queued").order_by("pk"):
        outbox.run(row.pk)
    return mail.outbox


def whole(letter: EmailMessage) -> str:
    """The mail as it goes over the wire, all its headers too."""
    return letter.message().as_string() + letter.subject + str(letter.body)


def test_a_question_is_told_to_who_wants_it() -> None:
    approver(email=ADDRESS)
    case, _ = asked_case()
    (letter,) = sent()
    assert letter.to == [ADDRESS]
    assert letter.subject == f"Case {case.number}: the laboratory has a question"
    assert "The laboratory has a question about this case." in letter.body
    assert "its clock" in letter.body
    assert f"open case {case.number}." in letter.body
    assert letter.extra_headers["Auto-Submitted"] == "auto-generated"


@pytest.mark.parametrize(
    ("user", "member"), [({"email": ""}, {}), ({"is_active": False}, {}), ({}, {"notices": False})]
)
def test_who_does_not_want_mail_gets_none(user: dict[str, Any], member: dict[str, Any]) -> None:
    person = approver(email=ADDRESS)
    User.objects.filter(pk=person.pk).update(**user)
    Member.objects.filter(user=person).update(**member)
    asked_case()
    assert not OutboxRow.objects.filter(kind="mail").exists()


def test_other_practices_hear_nothing() -> None:
    approver("southgate", ADDRESS)
    asked_case()
    assert sent() == []


def test_what_was_answered_meanwhile_is_not_asked_any_more() -> None:
    approver(email=ADDRESS)
    case, question = asked_case()
    answer(cast.assistant(), case, question, "The long one.")
    assert sent() == []
    assert OutboxRow.objects.get(kind="mail").state == "done"


def test_a_cancelled_case_asks_nothing_any_more() -> None:
    person = approver(email=ADDRESS)
    case, _ = asked_case()
    cancel(person, case, "The patient moved away.")
    assert sent() == []


def test_who_switched_mail_off_meanwhile_gets_none() -> None:
    person = approver(email=ADDRESS)
    asked_case()
    Member.objects.filter(user=person).update(notices=False)
    assert sent() == []


def test_a_mail_that_is_sent_twice_is_known_as_one() -> None:
    approver(email=ADDRESS)
    asked_case()
    row = OutboxRow.objects.get(kind="mail")
    for _ in range(2):
        tasks.send_mail(row)
    first, second = [letter.message()["Message-ID"] for letter in mail.outbox]
    assert first == second == f"<{row.payload['message']}.{row.payload['user']}.0@localhost>"


def test_a_server_that_is_away_is_tried_again(settings: Any) -> None:
    approver(email=ADDRESS)
    asked_case()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 1
    row = OutboxRow.objects.get(kind="mail")
    assert outbox.run(row.pk) is False
    row.refresh_from_db()
    assert (row.state, row.attempt) == ("queued", 1)
    assert "refused" in row.error


def test_in_production_the_mail_says_where(settings: Any) -> None:
    settings.PRODUCTION, settings.ALLOWED_HOSTS = True, ["lab.example.org"]
    approver(email=ADDRESS)
    case, _ = asked_case()
    (letter,) = sent()
    assert f"https://lab.example.org/cases/{case.number}" in letter.body


def test_a_whole_journey_of_mails_holds_nothing_of_a_patient() -> None:
    """Every kind of mail, of cases full of words that must not be in any."""
    person = approver(email=ADDRESS)
    note = "Seeksorrow bites hard."
    case = build.accepted_case(person, patient_ref="ZZ-PATIENT-77", note=note)
    asked = stop(case, "question", "Is Seeksorrow allergic to titanium on tooth 8?", cast.technician())
    stop(case, "missing", "Give the shade N2 of tooth 8.", fields=("items.1.shade",))
    stop(case, "duplicate", "Seeksorrow has another order for tooth 8.")
    remind(timezone.now() + 3 * DAY)
    sent()
    answer(person, case, asked, "Seeksorrow is not.")
    write(cast.technician(), case, "Seeksorrow may come.")
    shown = ask_approval(cast.technician(), case, "Seeksorrow's tooth 8.", design(case))
    sent()
    want_changes(person, case, shown, "Lower for Seeksorrow.")
    provisional = build.shipped_case(
        person, patient_ref="ZZ-PATIENT-77", stage="provisional", items=[build.screw_crown("30", material="pmma")]
    )
    seated(25, provisional)
    remind(timezone.now())
    letters = list(sent())
    subjects = " ".join(str(letter.subject) for letter in letters)
    for subject, _ in SAID.values():
        assert subject in subjects, "a kind of mail that was not looked at"
    assert len(letters) == 3 + 3 + 1 + 1
    words = (
        "PATIENT-77",
        "Seeksorrow",
        "tooth",
        "titanium",
        "zirconia",
        "pmma",
        "N2",
        build.SYSTEM,
        "crown",
        "abutment",
    )
    for letter in letters:
        assert [word for word in words if word.lower() in whole(letter).lower()] == []
    rows = str(list(OutboxRow.objects.filter(kind="mail").values_list("subject", "payload", "error")))
    assert [word for word in words if word.lower() in rows.lower()] == []
