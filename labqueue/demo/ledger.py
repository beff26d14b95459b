"""Rows of the demonstration's history, collected and written in bulk, with their sealed audit chains.

Most of the 180,000 rows are kept as plain facts by their columns: an object for each would take longer than all else.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache, partial
from typing import Any, TypeVar

from django.core.management.color import no_style
from django.db import DEFAULT_DB_ALIAS, connection, connections
from django.db.models import CharField, DateTimeField, Field, JSONField, Max, Model, UUIDField

from labqueue.base import audit
from labqueue.base.models import Chain, Event, Series, User

Row = TypeVar("Row", bound=Model)
Facts = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Change:
    """One event to be."""

    at: datetime
    verb: str
    actor: User
    after: Facts = field(default_factory=dict)
    before: Facts = field(default_factory=dict)


def moved(row: Model, to: str, *, at: datetime, verb: str, actor: User, **changes: Any) -> Change:
    """Move a row as `labqueue.base.moves.move` does, at a time of the past; the event that tells of it."""
    start = vars(row)["state"]
    for name, value in {"state": to, **changes}.items():
        setattr(row, name, value)
    return Change(at, verb, actor, after={"state": to, **changes}, before={"state": start})


class Ledger:
    """Gives rows their ids at once, so that they can point to each other before any is written."""

    def __init__(self) -> None:
        self.rows: dict[type[Model], list[Facts]] = defaultdict(list)
        # The highest id of each table before.
        self.written: dict[type[Model], int] = {}

    def add(self, row: Row) -> Row:
        """Keep a row for writing, as it will be then, with the next id of its table."""
        row.pk = self._keep(type(row), vars(row))
        return row

    def note(self, kind: type[Model], /, **facts: Any) -> int:
        """Keep a row of which nobody needs the object: all its columns but the id, which is answered."""
        facts["id"] = self._keep(kind, facts)
        return int(facts["id"])

    def number(self, lasts: dict[str, int]) -> None:
        """Number series that go on behind these numbers."""
        for name, last in lasts.items():
            self.add(Series(name=name, last=last))

    def _keep(self, kind: type[Model], facts: Facts) -> int:
        if kind not in self.rows:
            self.written[kind] = kind._default_manager.aggregate(last=Max("pk"))["last"] or 0
        rows = self.rows[kind]
        rows.append(facts)
        return self.written[kind] + len(rows)

    def seal(self, subject: Model, changes: Iterable[Change]) -> None:
        """The audit chain of a row: its changes in the order in which they happened."""
        chain = self.add(Chain(name=audit.chain_name(subject)))
        event = Event(chain=chain)
        for seq, change in enumerate(sorted(changes, key=lambda one: one.at), start=1):
            facts = {"seq": seq, "at": change.at, "actor_id": change.actor.pk, "verb": change.verb, "prev": chain.hash}
            facts |= {"before": audit.plain(change.before), "after": audit.plain(change.after)}
            vars(event).update(facts)
            chain.length, chain.hash = seq, audit.seal(event)
            self.note(Event, chain_id=chain.pk, **facts, hash=chain.hash)

    def write(self) -> None:
        """All rows, what was used last first: so pieces are there before their prescription is, complete and signed."""
        with connection.cursor() as cursor:
            for kind, rows in reversed(self.rows.items()):
                cursor.executemany(insert(kind), list(values(kind, rows)))
            for statement in connection.ops.sequence_reset_sql(no_style(), list(self.rows)):
                cursor.execute(statement)


def insert(kind: type[Model]) -> str:
    """The statement that writes one row of a table."""
    columns = [connection.ops.quote_name(str(field.column)) for field in kind._meta.concrete_fields]
    table = connection.ops.quote_name(kind._meta.db_table)
    return f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({', '.join(['%s'] * len(columns))})"  # noqa: S608


def values(kind: type[Model], rows: list[Facts]) -> Iterator[list[Any]]:
    """The rows as the database takes them, far faster than `bulk_create`. Raises KeyError where a column is missing."""
    columns = [(str(field.attname), adapter(field)) for field in kind._meta.concrete_fields]
    for facts in rows:
        yield [adapt(facts[name]) if adapt else facts[name] for name, adapt in columns]


def adapter(column: "Field[Any, Any]") -> Callable[[Any], Any] | None:
    """What the values of a column need before the database takes them; None where they go as they are."""
    if isinstance(column, DateTimeField):
        return cache(connection.ops.adapt_datetimefield_value)
    if isinstance(column, JSONField | UUIDField):
        return partial(column.get_db_prep_value, connection=connections[DEFAULT_DB_ALIAS], prepared=True)
    return str if isinstance(column, CharField) else None
