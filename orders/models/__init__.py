"""Practices and their people, cases, the prescriptions that say what is to be made, and all that hangs on a case."""

from orders.models.attachments import Attachment
from orders.models.case import OPEN_STATES, OVER_STATES, PATIENT_REF, Case, Outlook
from orders.models.practice import Feed, Member, Practice, PracticeClosedDay, laboratory_zone
from orders.models.prescription import Item, Prescription, Reason
from orders.models.talk import Message, Reminder
from orders.models.treatment import Confirmation, Evaluation

__all__ = [
    "OPEN_STATES",
    "OVER_STATES",
    "PATIENT_REF",
    "Attachment",
    "Case",
    "Confirmation",
    "Evaluation",
    "Feed",
    "Item",
    "Member",
    "Message",
    "Outlook",
    "Practice",
    "PracticeClosedDay",
    "Prescription",
    "Reason",
    "Reminder",
    "laboratory_zone",
]
