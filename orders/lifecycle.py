"""The states of a case and the moves between them: the only writer of `Case.state`."""

from typing import Any

from labqueue.base.errors import Conflict, refuse
from labqueue.base.models import User
from labqueue.base.moves import move
from orders.models import Case

S = Case.State
MOVES: dict[str, frozenset[str]] = {
    S.DRAFT: frozenset({S.SIGNED, S.CANCELLED}),
    S.SIGNED: frozenset({S.SIGNED, S.ACCEPTED, S.CANCELLED}),
    S.ACCEPTED: frozenset({S.SIGNED, S.RELEASED, S.CANCELLED}),
    S.RELEASED: frozenset({S.FINISHED, S.CANCELLED}),
    S.FINISHED: frozenset({S.RELEASED, S.PACKED}),
    S.PACKED: frozenset({S.SHIPPED, S.FINISHED}),
    S.SHIPPED: frozenset(),
    S.CANCELLED: frozenset(),
}


# Until the pieces are finished, what is signed can still be changed by a new version.
CHANGEABLE = frozenset({S.SIGNED, S.ACCEPTED, S.RELEASED})


def changeable(case: Case) -> None:
    """Raises Conflict where a signed prescription can no longer be changed."""
    if case.state not in CHANGEABLE:
        why = f"{case} is {case.get_state_display().lower()}: its prescription can be changed until it is finished."
        raise refuse("state", why, kind=Conflict)


def advance(case: Case, to: str, *, verb: str, actor: User | None, **changes: Any) -> None:
    """Take a case to its next state, in the caller's transaction.

    Raises Conflict where the table does not allow it, or where the case is on hold: then it can only be signed anew,
    which may be the answer that is waited for, be cancelled, or be finished by work that had begun before.
    """
    if case.on_hold and to not in (S.SIGNED, S.CANCELLED, S.FINISHED):
        why = f"{case} is on hold: {case.hold_reason}. Resume it first."
        raise refuse("hold", why, kind=Conflict)
    move(case, to, verb=verb, actor=actor, moves=MOVES, **changes)
