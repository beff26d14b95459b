"""When a case is finished: every piece is through its quality check, and only packing is left."""

from django.utils import timezone

from labqueue.base.models import User
from labqueue.production.models import Station, WorkItem, WorkStep
from orders.lifecycle import advance
from orders.models import Case


def work_left(case: Case) -> bool:
    """Whether a live piece of the case still has a step before packing."""
    steps = WorkStep.objects.filter(item__case=case).exclude(item__state=WorkItem.State.WITHDRAWN)
    return steps.exclude(state=WorkStep.State.DONE).exclude(station__kind=Station.Kind.PACKING).exists()


def settle(case: Case, actor: User) -> None:
    """Bring the state of a case on the floor in line with its pieces, in the caller's transaction."""
    left = work_left(case)
    if case.state == Case.State.RELEASED and not left:
        advance(case, Case.State.FINISHED, verb="finish", actor=actor, finished_at=timezone.now())
    elif case.state == Case.State.FINISHED and left:
        advance(case, Case.State.RELEASED, verb="take up again", actor=actor, finished_at=None)
