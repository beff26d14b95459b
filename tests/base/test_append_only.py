"""Frozen rows: triggers that hold against SQL itself, on both databases."""

from collections.abc import Iterator

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, transaction
from django.db.migrations.state import StateApps

from labqueue.base import audit
from labqueue.base.append_only import AppendOnly, Complete, Lifted, statements, trigger_names
from labqueue.base.models import Event

pytestmark = pytest.mark.django_db

TABLE = "paper"


@pytest.fixture
def event() -> Event:
    """One audit event."""
    return audit.record("press", "open", None)


@pytest.fixture
def paper() -> Iterator[str]:
    """A table whose rows are frozen once they are issued, with an issued and an open row."""
    run(f"CREATE TABLE {TABLE} (id integer PRIMARY KEY, note varchar(20), issued boolean NOT NULL)")
    freeze(TABLE, "OLD.issued")
    run(f"INSERT INTO {TABLE} VALUES (1, 'issued', true), (2, 'open', false)")
    yield TABLE
    run(f"DROP TABLE {TABLE}")


def run(sql: str) -> None:
    """One statement in a savepoint, so that its failure leaves the transaction usable."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql)


def freeze(table: str, when: str, always: tuple[str, ...] = ()) -> None:
    """What the migration does."""
    operation = AppendOnly(table, when, always)
    with connection.cursor() as cursor:
        for statement in statements(connection, operation.table, operation.when, operation.always):
            cursor.execute(statement)


def rows(table: str) -> list[tuple[object, ...]]:
    """All rows, in the order of their first column."""
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT * FROM {table} ORDER BY 1")
        return list(cursor.fetchall())


def triggers() -> set[str]:
    """The names of all triggers in the database."""
    sqlite = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    postgres = "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal"
    with connection.cursor() as cursor:
        cursor.execute(sqlite if connection.vendor == "sqlite" else postgres)
        return {name for (name,) in cursor.fetchall()}


def test_rows_can_be_added(event: Event) -> None:
    audit.record("press", "close", None)
    assert Event.objects.count() == 2


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE base_event SET verb = 'forged'",
        "UPDATE base_event SET id = id",
        "DELETE FROM base_event",
        "UPDATE base_event SET verb = 'forged' WHERE seq = 1",
    ],
)
def test_sql_cannot_change_a_record(event: Event, change: str) -> None:
    before = rows("base_event")
    with pytest.raises(IntegrityError, match="base_event is append-only"):
        run(change)
    assert rows("base_event") == before


def test_the_orm_cannot_change_a_record(event: Event) -> None:
    event.verb = "forged"
    for change in (event.save, event.delete, Event.objects.all().delete):
        with pytest.raises(IntegrityError, match="base_event is append-only"), transaction.atomic():
            change()
    assert Event.objects.get().verb == "open"


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("change", ["TRUNCATE base_event", "TRUNCATE base_chain CASCADE"])
def test_a_table_of_records_cannot_be_emptied(change: str) -> None:
    with transaction.atomic():
        audit.record("press", "open", None)
    with pytest.raises(IntegrityError, match="base_event is append-only"):
        run(change)
    assert Event.objects.count() == 1


@pytest.mark.postgres
def test_what_lets_a_test_run_empty_tables_opens_nothing_else(event: Event) -> None:
    run("SET LOCAL labqueue.flush = 'on'")
    for change in ("UPDATE base_event SET verb = 'forged'", "DELETE FROM base_event"):
        with pytest.raises(IntegrityError, match="base_event is append-only"):
            run(change)
    assert Event.objects.get().verb == "open"


def test_an_open_row_can_be_changed_and_removed(paper: str) -> None:
    run(f"UPDATE {paper} SET note = 'changed' WHERE id = 2")
    assert rows(paper)[1][1] == "changed"
    run(f"DELETE FROM {paper} WHERE id = 2")
    assert len(rows(paper)) == 1


def test_a_row_is_frozen_from_the_change_that_issues_it(paper: str) -> None:
    run(f"UPDATE {paper} SET issued = true WHERE id = 2")
    with pytest.raises(IntegrityError, match="paper is append-only"):
        run(f"UPDATE {paper} SET issued = false WHERE id = 2")


@pytest.mark.parametrize(
    "change", ["UPDATE paper SET note = 'x' WHERE id = 1", "DELETE FROM paper WHERE id = 1", "DELETE FROM paper"]
)
def test_an_issued_row_cannot_be_changed(paper: str, change: str) -> None:
    before = rows(paper)
    with pytest.raises(IntegrityError, match="paper is append-only"):
        run(change)
    assert rows(paper) == before


def test_some_columns_are_frozen_from_the_start(paper: str) -> None:
    on = f" ON {paper}" if connection.vendor == "postgresql" else ""
    for name in trigger_names(connection, paper):
        run(f"DROP TRIGGER {name}{on}")
    freeze(paper, "OLD.issued", ("note",))
    before = rows(paper)
    for change in ("SET note = 'x'", "SET note = 'x', issued = true"):
        with pytest.raises(IntegrityError, match="paper is append-only"):
            run(f"UPDATE {paper} {change} WHERE id = 2")
    with pytest.raises(IntegrityError, match="paper is append-only"):
        run(f"DELETE FROM {paper} WHERE id = 2")
    assert rows(paper) == before
    run(f"UPDATE {paper} SET note = note, issued = true WHERE id = 2")
    assert (2, "open", True) in rows(paper)
    with pytest.raises(IntegrityError, match="paper is append-only"):
        run(f"UPDATE {paper} SET issued = false WHERE id = 2")


def test_every_frozen_table_of_the_migrations_has_its_triggers() -> None:
    """Altering a table on SQLite drops its triggers silently: this finds a migration that forgot to freeze it again."""
    from django.db.migrations.loader import MigrationLoader

    ours = {config.label for config in apps.get_app_configs()}
    migrations = [m for (label, _), m in MigrationLoader(connection).disk_migrations.items() if label in ours]
    frozen = {o.table for m in migrations for o in m.operations if isinstance(o, AppendOnly)}
    assert "base_event" in frozen
    missing = {name for table in frozen for name in trigger_names(connection, table)} - triggers()
    assert missing == set()


def test_every_complete_parent_of_the_migrations_has_its_triggers() -> None:
    from django.db.migrations.loader import MigrationLoader

    migrations = MigrationLoader(connection).disk_migrations.values()
    children = {o.table for m in migrations for o in m.operations if isinstance(o, Complete)}
    assert children >= {"orders_item", "orders_reason"}
    assert {f"{table}_no_{event}" for table in children for event in ("insert", "move")} - triggers() == set()


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(
    ("held", "names"),
    [
        (AppendOnly("orders_item", "OLD.frozen"), {"orders_item_no_update", "orders_item_no_delete"}),
        (
            Complete("orders_item", "orders_prescription", "prescription_id", "signed_at IS NOT NULL"),
            {"orders_item_no_insert", "orders_item_no_move"},
        ),
    ],
)
def test_triggers_are_lifted_and_put_back(held: AppendOnly | Complete, names: set[str]) -> None:
    lifted, state = Lifted(held), StateApps([], {})
    with connection.schema_editor() as editor:
        lifted.code(state, editor)
    assert not names & triggers()
    assert lifted.reverse_code is not None
    with connection.schema_editor() as editor:
        lifted.reverse_code(state, editor)
    assert names <= triggers()
    assert lifted.deconstruct() == ("Lifted", [held], {})


@pytest.mark.django_db(transaction=True)
def test_the_operation_can_be_taken_back_and_repeated() -> None:
    operation = AppendOnly(TABLE)
    names = set(trigger_names(connection, TABLE))
    with connection.schema_editor() as editor:
        editor.execute(f"CREATE TABLE {TABLE} (id integer PRIMARY KEY)")
    for apply in (operation._apply, operation._apply):
        with connection.schema_editor() as editor:
            apply(apps, editor)
        assert names <= triggers()
    with connection.schema_editor() as editor:
        operation._unapply(apps, editor)
    assert not names & triggers()
    run(f"DROP TABLE {TABLE}")


def test_the_operation_is_written_as_it_was_read() -> None:
    name, positional, named = AppendOnly("paper", "OLD.issued").deconstruct()
    assert (name, positional) == ("AppendOnly", [])
    assert named == {"table": "paper", "when": "OLD.issued", "always": ()}
