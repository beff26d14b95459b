"""The demonstration at other moments: told but not written, since only what it says is asked for."""

from collections import Counter
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from labqueue.demo.ledger import Ledger, values
from labqueue.demo.load import all_kept, furnish, retell
from labqueue.demo.people import Cast
from labqueue.demo.shop import Shop
from orders.models import OPEN_STATES, Case

pytestmark = [pytest.mark.once, pytest.mark.django_db]

MOMENTS = {
    "before work on a Tuesday": "2026-11-24T06:30",
    "a Sunday, the clock just changed": "2026-11-01T15:00",
    "the first minutes of a Monday": "2026-08-31T00:10",
}


@pytest.fixture
def furnished() -> tuple[Cast, Shop]:
    """The laboratory without any case."""
    return furnish()


def told(furnished: tuple[Cast, Shop], moment: str) -> tuple[Ledger, list[Case]]:
    """All rows up to a moment of the laboratory's clock, and the cases among them."""
    ledger, now = Ledger(), datetime.fromisoformat(moment).replace(tzinfo=ZoneInfo("America/New_York"))
    with all_kept():
        cases = [one.case for one in retell(ledger, *furnished, now, seed=3)]
    assert max(case.created_at for case in cases) <= now
    return ledger, cases


def check_states(cases: list[Case]) -> None:
    """Some are in every state, and some on hold."""
    states = Counter(str(case.state) for case in cases)
    assert set(states) == set(Case.State.values)
    assert 110 <= sum(states[state] for state in OPEN_STATES) <= 185
    assert sum(case.held_since is not None for case in cases) >= 2


@pytest.mark.parametrize("moment", MOMENTS.values(), ids=MOMENTS)
def test_at_any_moment_there_are_cases_in_every_state(furnished: tuple[Cast, Shop], moment: str) -> None:
    check_states(told(furnished, moment)[1])


def test_the_same_moment_has_the_same_rows_and_most_cases_leave_in_time(furnished: tuple[Cast, Shop]) -> None:
    (first, cases), (second, _) = (told(furnished, "2027-03-12T19:30") for _ in range(2))
    assert sum(map(len, first.rows.values())) > 150_000
    assert set(first.rows) == set(second.rows)
    for kind in first.rows:
        pairs = zip(values(kind, first.rows[kind]), values(kind, second.rows[kind]), strict=True)
        assert all(one == two for one, two in pairs), f"{kind} differs"
    check_states(cases)
    shipped = [(case.shipped_at, case.due_at) for case in cases if case.shipped_at and case.due_at]
    assert 0.9 <= sum(left <= due for left, due in shipped) / len(shipped) <= 0.98
