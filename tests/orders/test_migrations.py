"""A database that was filled before: its rows stay what they were, what was signed still holds and stays frozen."""

import io
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction
from django.db.migrations.executor import MigrationExecutor

from orders.models import Case, Item, Member, Message, Prescription
from tests.orders import signed_before

pytestmark = pytest.mark.django_db(transaction=True)

BEFORE = [("orders", "0001_initial")]
CREATED, HELD = datetime(2026, 11, 19, 8, tzinfo=UTC), datetime(2026, 11, 21, 10, tzinfo=UTC)


def migrate(targets: list[tuple[str, str]]) -> Any:
    """Bring the database to that state; the models of then."""
    executor = MigrationExecutor(connection)
    return executor.migrate(targets).apps


@pytest.fixture
def before() -> Iterator[Any]:
    """The models of before, in a database of before; afterwards it is one of today in any case."""
    newest = [node for node in MigrationExecutor(connection).loader.graph.leaf_nodes() if node[0] == "orders"]
    try:
        yield migrate(BEFORE)
    finally:
        migrate(newest)


def fill(old: Any) -> None:
    """A signed case that is on hold, and the draft of another one."""
    model = {name: old.get_model("orders", name) for name in ("Practice", "Member", "Case", "Prescription", "Item")}
    user = old.get_model("base", "User").objects.create(username="old.prescriber", role="practice")
    practice = model["Practice"].objects.create(code=signed_before.PRACTICE_CODE, name="Old", address="1", phone="2")
    model["Member"].objects.create(
        pk=signed_before.MEMBER, user=user, practice=practice, may_sign=True, licence_number="D-1234"
    )
    whose = {"practice": practice, "created_by": user, "created_at": CREATED}
    case = model["Case"].objects.create(**signed_before.CASE, **whose)
    version = model["Prescription"].objects.create(case=case, version=signed_before.VERSION["version"])
    for facts in signed_before.ITEMS:
        model["Item"].objects.create(prescription=version, frozen=True, **facts)
    model["Prescription"].objects.filter(pk=version.pk).update(**signed_before.VERSION, hash=signed_before.SEAL)
    model["Case"].objects.filter(pk=case.pk).update(
        state="accepted", current=version, held_since=HELD, hold_reason="Which shade?"
    )
    draft = model["Case"].objects.create(number="2600043", patient_ref="K-2042", stage="final", **whose)
    model["Prescription"].objects.create(case=draft, version=1)


def migrated(before: Any) -> Case:
    """The signed case, in a database of today."""
    fill(before)
    migrate([("orders", "0004_questions_of_holds")])
    return Case.objects.get(number=signed_before.CASE["number"])


CHANGES = (
    "UPDATE orders_prescription SET rush = true",
    "UPDATE orders_item SET lot = 'x' WHERE line = 1",
    "DELETE FROM orders_item",
    "DELETE FROM orders_prescription WHERE version = 2",
)


def test_what_was_signed_holds_and_stays_frozen(before: Any) -> None:
    case = migrated(before)
    said = io.StringIO()
    call_command("verify", stdout=said)
    assert "Seals of prescriptions: all hold" in said.getvalue()
    assert (case.current and case.current.hash) == signed_before.SEAL
    for change in CHANGES:
        with pytest.raises(IntegrityError, match="is append-only"), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(change)
    late = Item(prescription=case.current, line=9, kind="crown", tooth=12, material="zirconia_4y", retention="cement")
    with pytest.raises(IntegrityError, match="orders_prescription is complete"), transaction.atomic():
        late.save()
    assert (Item.objects.filter(lot="").count(), Prescription.objects.filter(rush=False).count()) == (2, 2)


def test_what_was_under_way_goes_on(before: Any) -> None:
    """The hold is an open question, the draft can be changed, what was not said is what is usual."""
    case = migrated(before)
    message = Message.objects.get()
    assert (message.case, message.kind, message.text, message.at) == (case, "question", "Which shade?", HELD)
    assert (message.stops, message.by) == (True, None)
    assert (case.held_since, case.hold_reason) == (HELD, "Which shade?")
    assert case.complete_at == signed_before.VERSION["signed_at"]
    assert Case.objects.get(number="2600043").complete_at is None
    assert Member.objects.get().may_approve is True
    assert Prescription.objects.filter(signed_at__isnull=True).update(rush=True) == 1
    assert list(Item.objects.values_list("contacts", "engaging", "margin_facial")) == [("normal", True, None)] * 2
