"""Rows of the demonstration's history, collected and written in bulk, with their sealed audit chains."""

from collections import defaultdict
from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any, TypeVar

from django.core.management.color import no_style
from django.db import connection
from django.db.models import CharField, DateField, DateTimeField, Field, JSONField, Model, UUIDField

from labqueue.base import audit
from labqueue.base.models import Chain, Event, User

Row = TypeVar("Row", bound=Model)


class Ledger:
    """Gives rows their ids at once, so that they can point to each other before any is written."""

    def __init__(self) -> None:
        self.rows: dict[type[Model], list[Model]] = defaultdict(list)

    def add(self, row: Row) -> Row:
        """Keep a row for writing, with the next id of its table."""
        rows = self.rows[type(row)]
        row.pk = len(rows) + 1
        rows.append(row)
        return row

    def of(self, kind: type[Row]) -> Iterator[Row]:
        """The rows of one table, as kept."""
        return (row for row in self.rows[kind] if isinstance(row, kind))

    def seal(self, subject: Model, changes: "list[Change]") -> None:
        """The audit chain of a row: its changes in the order in which they happened."""
        chain = self.add(Chain(name=audit.chain_name(subject)))
        for change in sorted(changes, key=lambda one: one.at):
            event = Event(chain=chain, seq=chain.length + 1, at=change.at, actor=change.actor, verb=change.verb)
            event.before, event.after, event.prev = {}, audit.plain(change.after), chain.hash
            event.hash = audit.seal(event)
            self.add(event)
            chain.length, chain.hash = event.seq, event.hash

    def write(self) -> None:
        """All rows, tables in the order in which they were first used."""
        with connection.cursor() as cursor:
            for kind, rows in self.rows.items():
                cursor.executemany(insert(kind), list(values(kind, rows)))
            for statement in connection.ops.sequence_reset_sql(no_style(), list(self.rows)):
                cursor.execute(statement)


def insert(kind: type[Model]) -> str:
    """The statement that writes one row of a table."""
    columns = [connection.ops.quote_name(str(field.column)) for field in kind._meta.concrete_fields]
    table = connection.ops.quote_name(kind._meta.db_table)
    return f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({', '.join(['%s'] * len(columns))})"  # noqa: S608


def values(kind: type[Model], rows: list[Model]) -> Iterator[list[Any]]:
    """The rows as the database takes them. Four times as fast as `bulk_create`, which matters for 180,000 rows."""
    fields = [(str(field.attname), adapter(field)) for field in kind._meta.concrete_fields]
    for row in rows:
        facts = vars(row)
        yield [adapt(facts[name]) if adapt else facts[name] for name, adapt in fields]


def adapter(field: "Field[Any, Any]") -> Callable[[Any], Any] | None:
    """What a field's values need before the database takes them; None where they go as they are."""
    if isinstance(field, DateTimeField | DateField | JSONField | UUIDField):
        return lambda value: field.get_db_prep_save(value, connection)
    return str if isinstance(field, CharField) else None


class Change:
    """One event to be."""

    __slots__ = ("actor", "after", "at", "verb")

    def __init__(self, at: datetime, verb: str, actor: User, **after: Any) -> None:
        self.at, self.verb, self.actor, self.after = at, verb, actor, after
