"""The audit trail: what it keeps, and that it finds every kind of forgery."""

import math
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any
from uuid import UUID

import pytest
from django.db import connection, transaction
from hypothesis import HealthCheck, given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from labqueue.base import audit
from labqueue.base.models import Chain, Event, User
from labqueue.base.roles import Role
from tests.cast import technician
from tests.harness.flush import unfrozen

pytestmark = pytest.mark.django_db


def chain(name: str = "press") -> Chain:
    """The chain of that name as it stands now."""
    return Chain.objects.get(name=name)


@pytest.fixture
def five() -> Chain:
    """A chain of five events by a technician."""
    person = technician()
    for number in range(1, 6):
        audit.record("press", f"step {number}", person, before={"step": number - 1}, after={"step": number})
    return chain()


def forge(sql: str) -> None:
    """Change records as somebody could who owns the database: with the triggers off."""
    with thawed(), connection.cursor() as cursor:
        cursor.execute(sql)


def thawed() -> Any:
    """Within it, the triggers of the audit trail are off."""
    return unfrozen() if connection.vendor == "sqlite" else Disabled()


class Disabled:
    """The triggers of the events' table are disabled; PostgreSQL only."""

    def __enter__(self) -> None:
        self.run("SET CONSTRAINTS ALL IMMEDIATE")
        self.run("ALTER TABLE base_event DISABLE TRIGGER USER")

    def __exit__(self, *error: object) -> None:
        self.run("ALTER TABLE base_event ENABLE TRIGGER USER")

    def run(self, sql: str) -> None:
        with connection.cursor() as cursor:
            cursor.execute(sql)


def test_an_event_says_who_when_what_before_and_after() -> None:
    person = technician()
    audit.record(person, "rename", person, before={"name": "Tess"}, after={"name": "Tessa"})
    (event,) = audit.trail(person)
    assert (event.actor, event.verb) == (person, "rename")
    assert (event.before, event.after) == ({"name": "Tess"}, {"name": "Tessa"})
    assert abs(datetime.now(UTC) - event.at) < timedelta(seconds=10)
    assert event.chain.name == f"base.user:{person.pk}"


def test_the_service_itself_is_nobody() -> None:
    assert audit.record("press", "open", None).actor is None
    assert Event.objects.get().actor_id is None


def test_events_of_a_chain_are_counted_and_linked(five: Chain) -> None:
    events = list(five.events.all())
    assert [event.seq for event in events] == [1, 2, 3, 4, 5]
    assert [event.prev for event in events] == ["", *(event.hash for event in events[:-1])]
    assert (five.length, five.hash) == (5, events[-1].hash)
    assert len({event.hash for event in events}) == 5
    assert audit.verify(five) is None


def test_each_subject_has_its_own_chain(five: Chain) -> None:
    audit.record("oven", "open", None)
    assert chain("oven").length == 1
    assert chain("press").length == 5


def test_a_trail_is_read_with_its_people_in_one_query(
    five: Chain, django_assert_num_queries: Callable[[int], Any]
) -> None:
    person = technician()
    for _ in range(3):
        audit.record(person, "look", person)
    with django_assert_num_queries(1):
        assert [event.actor.shown_name for event in audit.trail(person) if event.actor] == ["Tessa Test"] * 3


def test_an_event_costs_three_queries(five: Chain, django_assert_num_queries: Callable[[int], Any]) -> None:
    with django_assert_num_queries(3):
        audit.record("press", "step 6", None)


@pytest.mark.django_db(transaction=True)
def test_outside_a_transaction_nothing_is_recorded() -> None:
    with pytest.raises(transaction.TransactionManagementError, match="belongs into the transaction"):
        audit.record("press", "open", None)
    assert not Chain.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_a_change_that_is_rolled_back_takes_its_event_with_it() -> None:
    with transaction.atomic():
        audit.record("press", "open", None)
    with transaction.atomic():
        audit.record("press", "close", None)
        transaction.set_rollback(True)
    assert [event.verb for event in Event.objects.all()] == ["open"]
    assert audit.verify(chain()) is None


@pytest.mark.parametrize(
    ("sql", "seq", "why"),
    [
        ("UPDATE base_event SET verb = 'forged' WHERE seq = 3", 3, "the event was changed"),
        ("UPDATE base_event SET before = '{\"step\": 9}' WHERE seq = 1", 1, "the event was changed"),
        ("UPDATE base_event SET after = '{}' WHERE seq = 5", 5, "the event was changed"),
        ("UPDATE base_event SET actor_id = NULL WHERE seq = 2", 2, "the event was changed"),
        ("UPDATE base_event SET at = '2026-01-01 00:00:00+00:00' WHERE seq = 4", 4, "the event was changed"),
        ("UPDATE base_event SET hash = prev WHERE seq = 4", 4, "the event was changed"),
        ("DELETE FROM base_event WHERE seq = 1", 1, "an event is missing"),
        ("DELETE FROM base_event WHERE seq = 3", 3, "an event is missing"),
        ("DELETE FROM base_event WHERE seq = 5", 5, "the end of the chain is missing"),
        ("DELETE FROM base_event WHERE seq > 2", 3, "the end of the chain is missing"),
        ("DELETE FROM base_event", 1, "the end of the chain is missing"),
        ("UPDATE base_event SET seq = 9 WHERE seq = 3", 3, "an event is missing"),
    ],
)
def test_a_forged_event_is_found(five: Chain, sql: str, seq: int, why: str) -> None:
    forge(sql)
    assert audit.verify(five) == audit.Break("press", seq, why)


def test_two_swapped_events_are_found(five: Chain) -> None:
    for old, new in ((2, 99), (3, 2), (99, 3)):
        forge(f"UPDATE base_event SET seq = {new} WHERE seq = {old}")
    assert audit.verify(five) == audit.Break("press", 2, "the event was changed")


def test_an_event_taken_out_and_the_rest_counted_anew_is_found(five: Chain) -> None:
    forge("DELETE FROM base_event WHERE seq = 2")
    for seq in (3, 4, 5):
        forge(f"UPDATE base_event SET seq = {seq - 1} WHERE seq = {seq}")
    forge("UPDATE base_chain SET length = 4")
    assert audit.verify(five) == audit.Break("press", 2, "the event was changed")


def test_an_event_of_another_chain_is_found(five: Chain) -> None:
    audit.record("oven", "open", None)
    forge(f"DELETE FROM base_event WHERE chain_id = {five.pk}")
    forge(f"UPDATE base_event SET chain_id = {five.pk}")
    forge("UPDATE base_chain SET length = 1, hash = (SELECT hash FROM base_event)")
    assert audit.verify(five) == audit.Break("press", 1, "the event was changed")


def test_a_well_sealed_event_past_the_head_is_found(five: Chain) -> None:
    event = Event(chain=five, seq=6, at=datetime.now(UTC), verb="forged", prev=five.hash)
    event.hash = audit.seal(event)
    event.save(force_insert=True)
    assert audit.verify(five) == audit.Break("press", 6, "the event was added past the head")


def test_a_forged_head_is_found(five: Chain) -> None:
    forge("UPDATE base_chain SET length = 4, hash = (SELECT hash FROM base_event WHERE seq = 4)")
    assert audit.verify(five) == audit.Break("press", 5, "the event was added past the head")


def test_a_stale_head_in_memory_is_no_break(five: Chain) -> None:
    audit.record("press", "step 6", None)
    assert five.length == 5
    assert audit.verify(five) is None


def test_a_person_with_events_cannot_be_deleted(five: Chain) -> None:
    from django.db.models import ProtectedError

    with pytest.raises(ProtectedError):
        technician().delete()
    assert User.objects.filter(username="tessa").exists()


class Odd:
    """Something JSON does not know."""

    def __str__(self) -> str:
        return "odd"


@pytest.mark.parametrize(
    ("value", "kept"),
    [
        ("text", "text"),
        (7, 7),
        (True, True),
        (None, None),
        (0.25, 0.25),
        (1e20, 10**20),
        (-0.0, 0),
        (math.inf, "inf"),
        (Role.ADMIN, "admin"),
        (Decimal("1.50"), "1.50"),
        (date(2026, 11, 24), "2026-11-24"),
        (datetime(2026, 11, 24, 16, 30, tzinfo=timezone(timedelta(hours=-5))), "2026-11-24T21:30:00+00:00"),
        (UUID(int=1), "00000000-0000-0000-0000-000000000001"),
        (("a", 1, Decimal(2)), ["a", 1, "2"]),
        ({1: [date(2026, 1, 2)]}, {"1": ["2026-01-02"]}),
        (Odd(), "odd"),
    ],
)
def test_values_are_kept_plain(value: object, kept: object) -> None:
    audit.record("press", "set", None, after={"value": value})
    event = Event.objects.get()
    assert event.after == {"value": kept}
    assert audit.plain(event.after) == event.after
    assert audit.verify(chain()) is None


def test_a_row_is_kept_by_its_id() -> None:
    person = technician()
    assert audit.plain({"by": person}) == {"by": person.pk}


json_like = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(st.characters(exclude_categories=["Cs", "Cc"])),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text("abc", max_size=3), inner, max_size=3),
    max_leaves=6,
)


@hypothesis_settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.dictionaries(st.text("äbc", max_size=3), json_like, max_size=3))
def test_whatever_is_recorded_verifies_after_the_database_kept_it(facts: dict[str, Any]) -> None:
    audit.record("fuzz", "set", None, before=facts, after=facts)
    assert audit.verify(chain("fuzz")) is None
