"""Tables in which a row, once it is a record, can be neither changed nor deleted: triggers for both databases."""

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

    `when` speaks of the row as `OLD`; PostgreSQL allows no subquery in it, so keep to the row's own columns.
    SQLite alters a table by copying it and loses its triggers: a later migration that alters `table` repeats this
    operation at its end.
    """

    def __init__(self, table: str, when: str = "") -> None:
        self.table, self.when = table, when
        super().__init__(self._apply, self._unapply)

    def deconstruct(self) -> tuple[str, list[str], dict[str, str]]:
        """As it is written in a migration file."""
        return (self.__class__.__qualname__, [], {"table": self.table, "when": self.when})

    def _apply(self, apps: object, editor: BaseDatabaseSchemaEditor) -> None:
        self._unapply(apps, editor)
        for statement in statements(editor.connection, self.table, self.when):
            editor.execute(statement, params=None)

    def _unapply(self, apps: object, editor: BaseDatabaseSchemaEditor) -> None:
        on = f" ON {self.table}" if editor.connection.vendor == "postgresql" else ""
        for name in trigger_names(editor.connection, self.table):
            editor.execute(f"DROP TRIGGER IF EXISTS {name}{on}", params=None)


def trigger_names(connection: BaseDatabaseWrapper, table: str) -> list[str]:
    """The triggers that freeze `table`."""
    events = ["update", "delete"] + (["truncate"] if connection.vendor == "postgresql" else [])
    return [f"{table}_no_{event}" for event in events]


def statements(connection: BaseDatabaseWrapper, table: str, when: str) -> list[str]:
    """The SQL that freezes `table`."""
    condition = f"WHEN ({when}) " if when else ""
    if connection.vendor == "sqlite":
        return [
            f"CREATE TRIGGER {table}_no_{event} BEFORE {event.upper()} ON {table} {condition}"
            f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
            for event in ("update", "delete")
        ]
    rows = [
        f"CREATE TRIGGER {table}_no_{event} BEFORE {event.upper()} ON {table} "
        f"FOR EACH ROW {condition}EXECUTE FUNCTION refuse_change()"
        for event in ("update", "delete")
    ]
    truncate = f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} EXECUTE FUNCTION refuse_change()"
    return [FUNCTION, *rows, truncate]
