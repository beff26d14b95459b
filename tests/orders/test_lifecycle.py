"""The states of a case."""

from itertools import product

import pytest

from labqueue.base.errors import Conflict
from orders.lifecycle import MOVES, advance
from orders.models import Case
from tests.orders import build

STATES = list(Case.State.values)
WAYS = {
    *(("draft", "signed"), ("draft", "cancelled")),
    *(("signed", "signed"), ("signed", "accepted"), ("signed", "cancelled")),
    *(("accepted", "signed"), ("accepted", "released"), ("accepted", "cancelled")),
    *(("released", "finished"), ("released", "cancelled")),
    *(("finished", "released"), ("finished", "packed")),
    *(("packed", "shipped"), ("packed", "finished")),
}


def test_the_table_knows_every_state() -> None:
    assert set(MOVES) == set(STATES)


@pytest.mark.django_db
def test_each_way_is_open_or_closed_as_the_trade_has_it() -> None:
    case = build.signed_case()
    found = set()
    for start, end in product(STATES, STATES):
        Case.objects.filter(pk=case.pk).update(state=start)
        case.refresh_from_db()
        try:
            advance(case, end, verb="moved", actor=None)
        except Conflict:
            continue
        assert Case.objects.get(pk=case.pk).state == end
        found.add((start, end))
    assert found == WAYS
