"""Orders that are there already: the same practice, patient and tooth in another open case."""

from collections.abc import Iterable

from django.db.models import Q, QuerySet

from orders.models import OPEN_STATES, Case, Practice


def duplicates_of(
    practice: Practice, patient_ref: str, teeth: Iterable[int], *, case: Case | None = None, origin: str = ""
) -> "QuerySet[Case]":
    """The open cases of that patient on any of these teeth (FDI), by their signed prescriptions, oldest first.

    `case` is the one that is being looked at, `origin` the number of the one that it follows: neither is its own
    duplicate, nor is what follows it. Who decides by the answer locks the practice first (`lock_practice`).
    """
    found = Case.objects.filter(
        practice=practice, patient_ref=patient_ref, state__in=OPEN_STATES, current__items__tooth__in=set(teeth)
    )
    own = Q(number=origin) if origin else Q()
    if case is not None:
        own |= Q(pk=case.pk) | Q(origin=case.pk)
    return (found.exclude(own) if own else found).distinct().order_by("number")


def lock_practice(practice: Practice) -> None:
    """Let nobody else sign for the practice until the transaction ends, so that two of a kind see each other."""
    Practice.objects.select_for_update(no_key=True).get(pk=practice.pk)
