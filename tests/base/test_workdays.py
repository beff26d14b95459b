"""Working days over weekends, closed days and both changes of the clock."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labqueue.base.workdays import Workdays, at

NEW_YORK = ZoneInfo("America/New_York")
# The Thursday and Friday of a long weekend.
CLOSED = Workdays(closed=frozenset({date(2026, 11, 26), date(2026, 11, 27)}))
days = st.dates(date(2020, 1, 1), date(2035, 12, 31))


def test_a_week_has_five_working_days() -> None:
    monday = date(2026, 11, 16)
    week = [monday + timedelta(days=offset) for offset in range(7)]
    assert [Workdays().is_open(day) for day in week] == [True] * 5 + [False] * 2
    assert not CLOSED.is_open(date(2026, 11, 26))


@pytest.mark.parametrize(
    ("start", "after"),
    [
        (date(2026, 11, 25), date(2026, 11, 25)),
        (date(2026, 11, 26), date(2026, 11, 30)),
        (date(2026, 11, 29), date(2026, 11, 30)),
    ],
)
def test_nearest_working_day(start: date, after: date) -> None:
    assert CLOSED.on_or_after(start) == after


@pytest.mark.parametrize(
    ("start", "shift", "end"),
    [
        (date(2026, 11, 25), 1, date(2026, 11, 30)),  # over two closed days and a weekend
        (date(2026, 11, 30), -1, date(2026, 11, 25)),
        (date(2026, 11, 25), 6, date(2026, 12, 7)),
        (date(2026, 11, 29), 0, date(2026, 11, 29)),  # 0 keeps even a Sunday
        (date(2026, 11, 29), 1, date(2026, 11, 30)),
        (date(2026, 11, 29), -1, date(2026, 11, 25)),
        (date(2026, 12, 30), 2, date(2027, 1, 1)),
    ],
)
def test_shift(start: date, shift: int, end: date) -> None:
    assert CLOSED.shift(start, shift) == end


def test_a_week_may_have_other_days() -> None:
    saturdays = Workdays(week=frozenset({5}))
    assert saturdays.shift(date(2026, 11, 21), 1) == date(2026, 11, 28)


@given(days, st.integers(1, 60))
def test_there_and_back_again(start: date, count: int) -> None:
    start = CLOSED.on_or_after(start)
    end = CLOSED.shift(start, count)
    assert CLOSED.is_open(end)
    assert sum(CLOSED.is_open(start + timedelta(days=n + 1)) for n in range((end - start).days)) == count
    assert CLOSED.shift(end, -count) == start


@pytest.mark.parametrize("week", [frozenset(), frozenset({7}), frozenset({-1, 0})])
def test_a_week_without_working_days_is_refused(week: frozenset[int]) -> None:
    with pytest.raises(ValueError, match="at least one working weekday"):
        Workdays(week=week)


@pytest.mark.parametrize(
    ("day", "clock", "instant"),
    [
        (date(2026, 1, 15), time(16, 30), datetime(2026, 1, 15, 21, 30, tzinfo=UTC)),
        (date(2026, 7, 15), time(16, 30), datetime(2026, 7, 15, 20, 30, tzinfo=UTC)),
        # 8 Mar 2026, 02:00 to 03:00 does not exist: the offset before it counts, which the clock shows as 03:30.
        (date(2026, 3, 8), time(2, 30), datetime(2026, 3, 8, 7, 30, tzinfo=UTC)),
        # 1 Nov 2026, 01:00 to 02:00 comes twice: the first counts, whatever the caller's fold says.
        (date(2026, 11, 1), time(1, 30), datetime(2026, 11, 1, 5, 30, tzinfo=UTC)),
        (date(2026, 11, 1), time(1, 30, fold=1), datetime(2026, 11, 1, 5, 30, tzinfo=UTC)),
        (date(2026, 11, 1), time(2, 0), datetime(2026, 11, 1, 7, 0, tzinfo=UTC)),
    ],
)
def test_the_instant_of_a_clock_time(day: date, clock: time, instant: datetime) -> None:
    found = at(day, clock, NEW_YORK)
    assert found == instant
    assert found.tzinfo is UTC


def test_instants_know_how_long_a_night_was() -> None:
    night = at(date(2026, 3, 8), time(17), NEW_YORK) - at(date(2026, 3, 7), time(17), NEW_YORK)
    assert night == timedelta(hours=23)


@given(days, st.times())
def test_what_exists_on_the_clock_reads_back(day: date, clock: time) -> None:
    seen = at(day, clock, NEW_YORK).astimezone(NEW_YORK)
    skipped = seen.replace(tzinfo=None) != datetime.combine(day, clock)
    assert not skipped or (clock.hour == 2 and seen.time().hour == 3)
