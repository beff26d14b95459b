"""The patient reference: a code that only the practice can read."""

import re

from labqueue.base.errors import Fault
from orders.models import PATIENT_REF

MONTHS = "JAN|FEB|MAR|APR|MAY|JUN|JUL|AUG|SEP|OCT|NOV|DEC"
DATES = re.compile(
    r"(19|20)\d\d-?(0[1-9]|1[0-2])-?(0[1-9]|[12]\d|3[01])"
    r"|(0[1-9]|[12]\d|3[01])-?(0[1-9]|1[0-2])-?(19|20)\d\d"
    rf"|\d{{1,2}}-?({MONTHS})[A-Z]*-?\d\d"
)
WANTED = (
    "Give a code of your own for the patient: 2 to 16 capital letters, digits and hyphens, with at least one letter "
    "and one digit, such as K-2041. Never a name, an address or a date of birth."
)


def tidy(text: str) -> str:
    """As it is kept: without spaces around it, in capitals."""
    return text.strip().upper()


def reference_faults(text: str) -> list[Fault]:
    """The faults of a reference in its tidy form."""
    if not re.fullmatch(PATIENT_REF, text):
        return [Fault("patient_ref", WANTED, "patient_ref")]
    if DATES.search(text):
        return [Fault("patient_ref", f"The reference seems to hold a date. {WANTED}", "patient_ref")]
    return []
