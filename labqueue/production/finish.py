"""When a case is finished: every piece is through its quality check, and only packing is left."""

from django.utils import timezone

from labqueue.base.models import User
from labqueue.production.models import Station, WorkItem, WorkStep
from labqueue.production.pieces import amended
from orders.lifecycle import advance
from orders.models import Case


def work_left(case: Case) -> bool:
    """Whether a live piece of the case still has a step before packing."""
    steps = WorkStep.objects.filter(item__case=case).exclude(item__state=WorkItem.State.WITHDRAWN)
    return steps.exclude(state=WorkStep.State.DONE).exclude(station__kind=Station.Kind.PACKING).exists()


def finish_if_through(case: Case, actor: User) -> None:
    """Take a case on the floor to finished where only packing is left, in the caller's transaction.

    One whose prescription was changed is not finished by the pieces of the old one: its release comes here again.
    """
    if case.state == Case.State.RELEASED and not work_left(case) and not amended(case):
        advance(case, Case.State.FINISHED, verb="finished", actor=actor, finished_at=timezone.now())
