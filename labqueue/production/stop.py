"""Stopping a case that is being made: its pieces are withdrawn, and what is done already is said."""

from django.db import transaction

from labqueue.base.errors import Conflict, refuse
from labqueue.base.models import User
from labqueue.base.moves import move
from labqueue.production.models import WorkItem, WorkStep
from labqueue.production.people import laboratory_only
from labqueue.production.pieces import MOVES
from labqueue.production.release import live_items
from orders import teeth
from orders.cancel import end
from orders.doors import lock
from orders.models import Case


@transaction.atomic
def stop(actor: User, case: Case, reason: str) -> Case:
    """Cancel a case on the floor, with what was made of it, so that practice and laboratory can speak about it.

    Raises Forbidden for people of a practice, Conflict where the case is not on the floor, Refusal without a reason.
    """
    laboratory_only(actor)
    lock(case)
    if case.state != Case.State.RELEASED:
        why = f"{case} is {case.get_state_display().lower()}. Only what is on the floor is stopped there."
        raise refuse("state", why, "case", kind=Conflict)
    pieces = live_items(case)
    made = [made_of(piece) for piece in pieces]
    for piece in pieces:
        move(piece, WorkItem.State.WITHDRAWN, verb="withdrawn", actor=actor, moves=MOVES)
    return end(actor, case, reason, made)


def made_of(piece: WorkItem) -> str:
    """How far a piece has come: `Crown on an abutment, 8 Universal, …: design, milling done, sintering begun.`"""
    tooth = teeth.shown(piece.tooth, piece.case.practice.notation)
    begun = piece.steps.exclude(state=WorkStep.State.WAITING).select_related("plan").order_by("seq")
    done = [step.plan.name for step in begun if step.state == WorkStep.State.DONE]
    running = [step.plan.name for step in begun if step.state == WorkStep.State.RUNNING]
    parts = [f"{', '.join(done)} done"] if done else []
    parts += [f"{', '.join(running)} begun"] if running else []
    return f"{piece.get_kind_display()}, {tooth}: {', '.join(parts) or 'nothing made yet'}."
