"""The one door to a case: what a person may not see does not exist for that person. And its lock."""

from django.db.models import QuerySet

from labqueue.base.errors import Forbidden, NotFound, refuse
from labqueue.base.models import User
from orders.models import Case, Member


def cases_for(user: User) -> "QuerySet[Case]":
    """All cases that `user` may see: the laboratory sees what was ever signed, a practice its own."""
    if user.works_here:
        return Case.objects.filter(current__isnull=False)
    return Case.objects.filter(practice__members__user=user)


def case_for(user: User, number: str) -> Case:
    """The case of that number. Raises NotFound for unknown and foreign ones alike."""
    case = cases_for(user).select_related("practice", "current", "outlook").filter(number=number).first()
    if case is None:
        raise refuse("case", f"There is no case {number[:12]} for you.", field="case", kind=NotFound)
    return case


def member_of(user: User) -> Member:
    """The practice membership of `user`. Raises Forbidden for people of the laboratory."""
    member = Member.objects.select_related("practice", "user").filter(user=user).first()
    if member is None:
        raise refuse("practice", "Only people of a practice can do this.", kind=Forbidden)
    return member


def own_case(user: User, case: Case) -> Member:
    """The membership of `user` in the practice whose case it is. Raises Forbidden for everybody else."""
    member = member_of(user)
    if member.practice_id != case.practice_id:
        raise refuse("practice", "This case belongs to another practice.", kind=Forbidden)
    return member


def lock(case: Case) -> Case:
    """Lock the case until the caller's transaction ends and bring `case` itself up to date. A verb's first lock."""
    case.refresh_from_db(from_queryset=Case.objects.select_for_update(no_key=True))
    return case
