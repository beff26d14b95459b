"""The ledger: rows that point to each other before any is written, and chains that verify."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.db import connection

from labqueue.base import audit
from labqueue.base.models import Chain, Event, OutboxRow, Series
from labqueue.demo.ledger import Change, Ledger, insert, moved
from tests import cast

pytestmark = pytest.mark.django_db
AT = datetime(2026, 3, 4, 15, 0, 0, 250_000, tzinfo=UTC)


def row(subject: str) -> OutboxRow:
    """Work for a worker, with every kind of column."""
    return OutboxRow(kind="paper", subject=subject, payload={"é": [1, None]}, due_at=AT, created_at=AT)


def test_rows_have_their_ids_at_once_and_are_written_as_they_are_then() -> None:
    ledger = Ledger()
    first, second = ledger.add(row("a")), ledger.add(row("b"))
    assert second.pk == first.pk + 1
    second.error = "later"
    assert OutboxRow.objects.count() == 0
    ledger.write()
    assert list(OutboxRow.objects.order_by("pk").values_list("pk", "subject", "error")) == [
        (first.pk, "a", ""),
        (second.pk, "b", "later"),
    ]
    found = OutboxRow.objects.get(pk=first.pk)
    assert (found.payload, found.due_at, found.lease_until) == ({"é": [1, None]}, AT, None)


def test_plain_facts_are_written_like_objects() -> None:
    ledger = Ledger()
    ledger.add(row("a"))
    facts = {name: value for name, value in vars(row("b")).items() if name not in ("_state", "id")}
    pk = ledger.note(OutboxRow, **facts)
    ledger.write()
    one, two = (dict(found) for found in OutboxRow.objects.order_by("pk").values())
    assert two.pop("id") == pk
    assert (one.pop("subject"), two.pop("subject")) == ("a", "b")
    assert {**one, "id": None} == {**two, "id": None}


def test_a_missing_column_is_refused_and_nothing_is_written() -> None:
    ledger = Ledger()
    ledger.note(Series, name="a")
    with pytest.raises(KeyError, match="last"):
        ledger.write()
    assert not Series.objects.exists()


def test_rows_stand_behind_those_that_are_there() -> None:
    before = Series.objects.create(name="before")
    ledger = Ledger()
    ledger.number({"case/26": 7, "case/27": 2})
    ledger.write()
    assert Series.objects.create(name="after").pk == before.pk + 3
    assert dict(Series.objects.values_list("name", "last")) == {"before": 0, "case/26": 7, "case/27": 2, "after": 0}


def test_a_chain_holds_the_changes_in_the_order_of_time_and_verifies() -> None:
    ledger, person = Ledger(), cast.manager()
    series = ledger.add(Series(name="x"))
    late = Change(AT + timedelta(minutes=1), "second", person, after={"at": AT, "who": person}, before={"x": 0.5})
    ledger.seal(series, [late, Change(AT, "first", person)])
    ledger.write()
    chain = Chain.objects.get(name=audit.chain_name(series))
    events = list(Event.objects.filter(chain=chain))
    assert [(e.seq, e.verb, e.actor_id) for e in events] == [(1, "first", person.pk), (2, "second", person.pk)]
    assert events[1].after == {"at": "2026-03-04T15:00:00+00:00", "who": person.pk}
    assert audit.verify(chain) is None


def test_changes_of_the_same_moment_stay_in_their_order() -> None:
    ledger, person = Ledger(), cast.manager()
    series = ledger.add(Series(name="x"))
    ledger.seal(series, [Change(AT, verb, person) for verb in ("c", "a", "b")])
    ledger.write()
    assert list(Event.objects.values_list("verb", flat=True)) == ["c", "a", "b"]


def test_a_chain_goes_on_by_the_real_verb() -> None:
    ledger, person = Ledger(), cast.manager()
    series = ledger.add(Series(name="x"))
    ledger.seal(series, [Change(AT, "told", person)])
    ledger.write()
    event = audit.record(series, "lived", person)
    assert event.seq == 2
    assert audit.verify(event.chain) is None


def test_a_move_is_told_as_the_real_one_tells_it() -> None:
    found, person = row("a"), cast.manager()
    change = moved(found, "done", at=AT, verb="printed", actor=person, finished_at=AT)
    assert (found.state, found.finished_at) == ("done", AT)
    assert change == Change(AT, "printed", person, {"state": "done", "finished_at": AT}, {"state": "queued"})


def test_writing_takes_one_statement_per_table(django_assert_max_num_queries: Callable[[int], Any]) -> None:
    ledger = Ledger()
    for number in range(300):
        ledger.add(row(str(number)))
    with django_assert_max_num_queries(3):
        ledger.write()
    assert OutboxRow.objects.count() == 300


def test_the_statement_names_every_column() -> None:
    quoted = [connection.ops.quote_name(name) for name in ("base_series", "id", "name", "last")]
    assert insert(Series) == f"INSERT INTO {quoted[0]} ({', '.join(quoted[1:])}) VALUES (%s, %s, %s)"
