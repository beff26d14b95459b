"""Emptying the database after a transactional test, past the triggers that keep records from being changed."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.core.management import call_command
from django.db import connection, transaction
from django.test import TransactionTestCase


@contextmanager
def unfrozen() -> Iterator[None]:
    """Within it, append-only tables can be emptied as a whole."""
    with _without_triggers() if connection.vendor == "sqlite" else _flush_allowed():
        yield


@contextmanager
def _without_triggers() -> Iterator[None]:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        triggers = cursor.fetchall()
        for name, _sql in triggers:
            cursor.execute(f'DROP TRIGGER "{name}"')
    try:
        yield
    finally:
        with transaction.atomic(), connection.cursor() as cursor:
            for _name, sql in triggers:
                cursor.execute(sql)


@contextmanager
def _flush_allowed() -> Iterator[None]:
    with connection.cursor() as cursor:
        cursor.execute("SET labqueue.flush = 'on'")
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            cursor.execute("SET labqueue.flush = 'off'")


def everything() -> None:
    """Empty the whole database, after tests that shared what was laid in it once."""
    with unfrozen():
        call_command("flush", verbosity=0, interactive=False)


def install() -> None:
    """Let Django's transactional tests flush inside `unfrozen`."""
    original = TransactionTestCase._fixture_teardown  # type: ignore[attr-defined]

    def teardown(case: TransactionTestCase) -> None:
        with unfrozen():
            original(case)

    TransactionTestCase._fixture_teardown = teardown  # type: ignore[attr-defined]
