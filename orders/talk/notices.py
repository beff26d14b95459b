"""Mail of what is asked of a practice, left in the outbox: the number of the case and what is wanted.

Nothing of a patient, no tooth, no material and no word that anybody wrote goes into a mail: who answers signs in.
"""

from django.conf import settings
from django.core.mail import EmailMessage
from django.db.models import QuerySet
from django.urls import reverse

from labqueue.base import outbox
from labqueue.base.models import OutboxRow, User
from orders.models import OPEN_STATES, Message, Practice

KIND = "mail"
K = Message.Kind
# Of each kind of message: the subject after the number of the case, and the sentence.
SAID: dict[str, tuple[str, str]] = {
    K.QUESTION: ("the laboratory has a question", "The laboratory has a question about this case."),
    K.MISSING: ("something is missing", "Something is missing without which this case cannot be made."),
    K.DUPLICATE: ("is it ordered twice?", "It looks as if this was ordered twice."),
    K.APPROVAL: ("a design waits for your approval", "A design of this case waits for your approval."),
    K.REMINDER: ("how did the provisional do?", "The trial of this provisional is over. Please evaluate it."),
}
STANDS = "The case stands still, and so does its clock, until this is answered."
LAST_STEP, LAST = 3, "The laboratory will call you."
WHY = "You get this because notices are switched on for you; switch them off on the page Notices."


def people_of(practice: Practice) -> "QuerySet[User]":
    """Who of a practice gets mail."""
    wants = User.objects.filter(is_active=True, member__practice=practice, member__notices=True)
    return wants.exclude(email="").order_by("pk")


def tell(message: Message, step: int = 0) -> None:
    """Leave a mail for everybody of the practice who wants one; `step` counts the reminders, 0 is the first word."""
    case = message.case
    for person in people_of(case.practice):
        about = {"message": message.pk, "user": person.pk, "step": step, "template": message.kind, "case": case.number}
        outbox.put(KIND, f"{message.pk}:{person.pk}:{step}", about)


def letter(row: OutboxRow) -> EmailMessage | None:
    """The mail of a row; None where it is no longer wanted.

    Its id is always the same, so that a mail which is sent twice by a worker that died is known as one.
    """
    about = row.payload
    message = Message.objects.select_related("case__practice", "answer").get(pk=about["message"])
    person = people_of(message.case.practice).filter(pk=about["user"]).first()
    if person is None or not still_wanted(message):
        return None
    number, step = message.case.number, int(str(about["step"]))
    subject, sentence = SAID[message.kind]
    ends = [STANDS] * message.stops + [LAST] * (step == LAST_STEP)
    lines = [sentence, *ends, f"Sign in and open case {number}{where(number)}.", "", settings.LAB_NAME, WHY]
    about_it = f"{'Reminder: case' if step else 'Case'} {number}: {subject}"
    key = f"<{message.pk}.{person.pk}.{step}@{settings.DEFAULT_FROM_EMAIL.partition('@')[2]}>"
    headers = {"Message-ID": key, "Auto-Submitted": "auto-generated"}
    return EmailMessage(about_it, "\n".join(lines), to=[person.email], headers=headers)


def still_wanted(message: Message) -> bool:
    """Whether the practice is still asked."""
    return not message.stops or (not hasattr(message, "answer") and message.case.state in OPEN_STATES)


def where(number: str) -> str:
    """The address of the case, where the service knows its own: in production it stands behind HTTPS."""
    path = reverse("orders:case", args=[number])
    return f": https://{settings.ALLOWED_HOSTS[0].lstrip('.')}{path}" if settings.PRODUCTION else ""
