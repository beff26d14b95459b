"""A state has one writer and a table of allowed moves; a move is compare-and-set and leaves an audit row."""

from collections.abc import Mapping
from typing import Any

from django.db import models

from labqueue.base import audit, transactions
from labqueue.base.errors import Conflict, refuse
from labqueue.base.models import User

Moves = Mapping[str, frozenset[str]]


def move(row: models.Model, to: str, *, verb: str, actor: User | None, moves: Moves, **changes: Any) -> None:
    """Take `row.state` to `to` and set `changes` with it, in the caller's transaction; `row` is brought up to date.

    Raises Conflict where the table does not allow the move, or where somebody else moved the row first, and
    django.db.transaction.TransactionManagementError outside a transaction.
    """
    transactions.required("a move belongs into the transaction of its verb")
    start = str(getattr(row, "state"))  # noqa: B009 - every row that moves has a state
    allowed = moves.get(start, frozenset())
    if to not in allowed:
        ways = f"only {' or '.join(sorted(map(str, allowed)))}" if allowed else "it stays so"
        raise refuse("state", f"{row} is {start} and cannot become {to}: {ways}.", kind=Conflict)
    query = type(row)._default_manager.filter(pk=row.pk, state=start)
    if query.update(state=to, **changes) != 1:
        raise refuse("state", f"{row} was changed by somebody else a moment ago. Reload and look again.", kind=Conflict)
    for name, value in {"state": to, **changes}.items():
        setattr(row, name, value)
    audit.record(row, verb, actor, before={"state": start}, after={"state": to, **changes})
