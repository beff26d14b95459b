"""Many boxes leave at once: the numbers of their invoices have neither gap nor double, and a box is billed once."""

from collections import Counter

import pytest
from django.db import IntegrityError, transaction

from labqueue.base import numbers
from labqueue.base.errors import Conflict
from labqueue.base.models import Series
from orders.models import Case
from shipping import prices
from shipping.dispatch import dispatch
from shipping.models import Delivery, Invoice, Paper
from tests import cast
from tests.orders.build import abutment
from tests.races.together import together, without_row_locks
from tests.shipping.build import packed

pytestmark = [pytest.mark.postgres, pytest.mark.django_db(transaction=True)]

BOXES = 12


def boxes(count: int) -> list[Case]:
    """That many packed cases."""
    prices.load(cast.laboratory())
    return [packed(items=[abutment()]).case for _ in range(count)]


def ship(case: Case, fails: bool = False) -> str:
    """What becomes of one dispatch; `fails` makes its transaction fail at the very end."""
    try:
        with transaction.atomic():
            dispatch(cast.shipper(), case, "Harbour Courier")
            transaction.set_rollback(fails)
    except Conflict as refusal:
        return refusal.faults[0].code
    except IntegrityError:
        return "refused by the database"
    return "failed" if fails else "shipped"


def serials() -> list[int]:
    """The serials of all invoices, in order."""
    return sorted(Invoice.objects.values_list("serial", flat=True))


def test_numbers_have_no_gap_and_no_double_although_some_fail() -> None:
    cases = boxes(BOXES)
    found = Counter(together(BOXES, lambda n: ship(cases[n], fails=n % 3 == 0)))
    assert found == {"shipped": 8, "failed": 4}
    assert serials() == list(range(1, 9))
    assert Delivery.objects.filter(state="shipped").count() == Paper.objects.filter(kind="invoice").count() == 8
    again = Counter(together(4, lambda n: ship(cases[n * 3])))
    assert again == {"shipped": 4}
    assert serials() == list(range(1, BOXES + 1))
    assert Series.objects.get(name__startswith="invoice/").last == BOXES


def test_one_box_is_sent_and_billed_once() -> None:
    (case,) = boxes(1)
    found = Counter(together(8, lambda _: ship(Case.objects.get(pk=case.pk))))
    assert found == {"shipped": 1, "state": 7}
    assert serials() == [1]


def test_control_without_the_lock_the_same_number_is_drawn_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    cases = boxes(6)
    ship(cases[0])
    drawn = []
    draw = numbers.next_number

    def noted(name: str) -> int:
        drawn.append(draw(name))
        return drawn[-1]

    monkeypatch.setattr("shipping.invoicing.next_number", noted)
    without_row_locks(monkeypatch)
    found = Counter(together(5, lambda n: ship(cases[n + 1])))
    assert max(Counter(drawn).values()) > 1, "without the lock, a number should have been drawn twice"
    assert found["refused by the database"] >= 1
    assert len(set(serials())) == len(serials())
