"""Rows that are records, neither changed nor deleted, and parents that take no more: triggers for both databases."""

from django.db import migrations
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

# The setting lets test runs empty whole tables; it opens neither UPDATE nor DELETE.
FUNCTION = """
CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF TG_OP = 'TRUNCATE' AND current_setting('labqueue.flush', true) = 'on' THEN RETURN NULL; END IF;
  RAISE EXCEPTION '% is append-only', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation';
END $$;
"""


class AppendOnly(migrations.RunPython):
    """Migration operation: rows of `table` for which the SQL condition `when` holds are frozen.

    Columns named in `always` (none of which takes NULL) are frozen from the start, and then no row is ever deleted.
    `when` speaks of the row as `OLD`; PostgreSQL allows no subquery in it, so keep to the row's own columns.
    SQLite alters a table by copying it and loses its triggers: a later migration that alters `table` repeats this
    operation at its end.
    """

    def __init__(self, table: str, when: str = "", always: tuple[str, ...] = ()) -> None:
        self.table, self.when, self.always = table, when, always
        super().__init__(self._apply, self._unapply)

    def deconstruct(self) -> tuple[str, list[str], dict[str, str | tuple[str, ...]]]:
        """As it is written in a migration file."""
        return (self.__class__.__qualname__, [], {"table": self.table, "when": self.when, "always": self.always})

    def _apply(self, apps: object, editor: BaseDatabaseSchemaEditor) -> None:
        self._unapply(apps, editor)
        for statement in statements(editor.connection, self.table, self.when, self.always):
            editor.execute(statement, params=None)

    def _unapply(self, apps: object, editor: BaseDatabaseSchemaEditor) -> None:
        on = f" ON {self.table}" if editor.connection.vendor == "postgresql" else ""
        for name in trigger_names(editor.connection, self.table):
            editor.execute(f"DROP TRIGGER IF EXISTS {name}{on}", params=None)


class Complete(migrations.RunPython):
    """Migration operation: no row of `table` joins a row of `parent` for which the SQL condition `when` holds.

    `key` is the column of `table` that holds the id of the parent; `when` speaks of the parent's columns. What was said
    of SQLite above holds here, too.
    """

    def __init__(self, table: str, parent: str, key: str, when: str) -> None:
        self.table, self.parent, self.key, self.when = table, parent, key, when
        super().__init__(self._apply, self._unapply)

    def deconstruct(self) -> tuple[str, list[str], dict[str, str]]:
        """As it is written in a migration file."""
        facts = {"table": self.table, "parent": self.parent, "key": self.key, "when": self.when}
        return (self.__class__.__qualname__, [], facts)

    def _apply(self, apps: object, editor: BaseDatabaseSchemaEditor) -> None:
        self._unapply(apps, editor)
        for statement in joins(editor.connection, self.table, self.parent, self.key, self.when):
            editor.execute(statement, params=None)

    def _unapply(self, apps: object, editor: BaseDatabaseSchemaEditor) -> None:
        on = f" ON {self.table}" if editor.connection.vendor == "postgresql" else ""
        for event in ("insert", "move"):
            editor.execute(f"DROP TRIGGER IF EXISTS {self.table}_no_{event}{on}", params=None)


class Lifted(migrations.RunPython):
    """Migration operation: takes the triggers of another operation away, so that a table they name can be altered.

    SQLite renames the copy of an altered table only while no trigger names the table. Put the operation itself at the
    end of the same migration.
    """

    def __init__(self, held: "AppendOnly | Complete") -> None:
        self.held = held
        super().__init__(held._unapply, held._apply)

    def deconstruct(self) -> "tuple[str, list[AppendOnly | Complete], dict[str, str]]":
        """As it is written in a migration file."""
        return (self.__class__.__qualname__, [self.held], {})


def joins(connection: BaseDatabaseWrapper, table: str, parent: str, key: str, when: str) -> list[str]:
    """The SQL that keeps rows of `table` from a complete parent, be they new or another parent's."""
    found = f"EXISTS (SELECT 1 FROM {parent} WHERE id = NEW.{key} AND {when})"  # noqa: S608 - names from our migrations
    why, events = f"{parent} is complete", {"insert": "INSERT", "move": f"UPDATE OF {key}"}
    if connection.vendor == "sqlite":
        return [
            f"CREATE TRIGGER {table}_no_{name} BEFORE {event} ON {table} WHEN {found} "
            f"BEGIN SELECT RAISE(ABORT, '{why}'); END"
            for name, event in events.items()
        ]
    function = (
        f"CREATE OR REPLACE FUNCTION {table}_joins() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"IF {found} THEN RAISE EXCEPTION '{why}' USING ERRCODE = 'integrity_constraint_violation'; END IF; "
        "RETURN NEW; END $$"
    )
    triggers = [
        f"CREATE TRIGGER {table}_no_{name} BEFORE {event} ON {table} FOR EACH ROW EXECUTE FUNCTION {table}_joins()"
        for name, event in events.items()
    ]
    return [function, *triggers]


def trigger_names(connection: BaseDatabaseWrapper, table: str) -> list[str]:
    """The triggers that freeze `table`."""
    events = ["update", "delete"] + (["truncate"] if connection.vendor == "postgresql" else [])
    return [f"{table}_no_{event}" for event in events]


def statements(connection: BaseDatabaseWrapper, table: str, when: str = "", always: tuple[str, ...] = ()) -> list[str]:
    """The SQL that freezes `table`."""
    changed = " OR ".join([f"({when})", *(f"OLD.{column} <> NEW.{column}" for column in always)])
    conditions = {
        "update": f"WHEN ({changed}) " if when else "",
        "delete": f"WHEN ({when}) " if when and not always else "",
    }
    if connection.vendor == "sqlite":
        return [
            f"CREATE TRIGGER {table}_no_{event} BEFORE {event.upper()} ON {table} {condition}"
            f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
            for event, condition in conditions.items()
        ]
    rows = [
        f"CREATE TRIGGER {table}_no_{event} BEFORE {event.upper()} ON {table} "
        f"FOR EACH ROW {condition}EXECUTE FUNCTION refuse_change()"
        for event, condition in conditions.items()
    ]
    truncate = f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} EXECUTE FUNCTION refuse_change()"
    return [FUNCTION, *rows, truncate]
