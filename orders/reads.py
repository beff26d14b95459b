"""Cases as they are listed and shown, with a constant number of queries."""

from django.db.models import F, Prefetch, QuerySet, prefetch_related_objects
from django.utils import timezone

from labqueue.base.errors import refuse
from labqueue.base.models import User
from orders import due
from orders.doors import case_for, cases_for
from orders.models import OPEN_STATES, Case, Prescription
from orders.words import short

VERSIONS: "Prefetch[str]" = Prefetch(
    "prescriptions",
    Prescription.objects.select_related("signed_by__user").prefetch_related("items", "reasons__by"),
)
# What a list can be narrowed to, beside the single states.
OPEN, ON_HOLD, ALL = "open", "hold", "all"
CHOICES = (
    (OPEN, "All open"),
    (ON_HOLD, "On hold"),
    *((value, short(label)) for value, label in Case.State.choices),
    (ALL, "All"),
)
STATES = tuple(value for value, _ in CHOICES)


def with_versions(cases: "QuerySet[Case]") -> "QuerySet[Case]":
    """The cases with practice, outlook, all versions, their pieces and reasons, in a constant number of queries."""
    return cases.select_related("practice", "outlook", "origin").prefetch_related(VERSIONS)


def listed(user: User, state: str = OPEN) -> "QuerySet[Case]":
    """The cases that `user` may see: a practice's by appointment, the laboratory's by the day on which they leave."""
    cases = with_versions(narrowed(cases_for(user), state))
    first = F("due_at" if user.works_here else "seat_at")
    return cases.order_by(first.asc(nulls_last=True), "number")


def narrowed(cases: "QuerySet[Case]", state: str) -> "QuerySet[Case]":
    """Only cases in that state; `open` is what is neither shipped nor cancelled, `hold` what stands still.

    Raises Refusal for a word that is neither of these nor a state.
    """
    if state not in STATES:
        raise refuse("state", f"“{state[:20]}” is no state. Possible: {', '.join(STATES)}.", field="state")
    if state == ON_HOLD:
        return cases.filter(held_since__isnull=False)
    if state == OPEN:
        return cases.filter(state__in=[Case.State.DRAFT, *OPEN_STATES])
    return cases if state == ALL else cases.filter(state=state)


def full_case(user: User, number: str) -> Case:
    """The case through its door, with everything that its page shows. Raises NotFound."""
    return filled(case_for(user, number))


def filled(case: Case) -> Case:
    """The case with its versions and their pieces read again, after a verb for example."""
    prefetch_related_objects([case], VERSIONS)
    return case


def promise_of(case: Case, prescription: Prescription) -> due.Promise:
    """What was promised with a signed version, or what would be promised were the draft signed now."""
    at = prescription.signed_at or timezone.now()
    return due.promise_of(due.way_to(case.practice), prescription, prescription.makes, at)
