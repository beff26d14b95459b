"""Hours of work as instants: when work may start, and when so many minutes of it have passed."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest

from labqueue.demo.calendars import Hours

pytestmark = pytest.mark.once
ZONE = ZoneInfo("America/New_York")
DAY = [["08:00", "12:00"], ["13:00", "17:00"]]
# Monday to Friday of two weeks, over the night on which the clocks go forward (8 March 2026).
WEEK = Hours(
    {"week": dict.fromkeys(("mon", "tue", "wed", "thu", "fri"), DAY)}, date(2026, 3, 2), date(2026, 3, 13), ZONE
)


def posix(clock: str) -> float:
    """Seconds of a moment in March 2026 by the wall clock, such as `04 09:30`."""
    return datetime.strptime(f"2026-03-{clock}", "%Y-%m-%d %H:%M").replace(tzinfo=ZONE).timestamp()


@pytest.mark.parametrize(
    ("at", "opens"),
    [
        ("04 07:00", "04 08:00"),
        ("04 08:00", "04 08:00"),
        ("04 11:59", "04 11:59"),
        ("04 12:00", "04 13:00"),
        ("04 17:00", "05 08:00"),
        ("06 17:00", "09 08:00"),
        ("08 03:30", "09 08:00"),
    ],
)
def test_work_may_start_in_the_next_open_span(at: str, opens: str) -> None:
    assert WEEK.open_from(posix(at)) == posix(opens)


@pytest.mark.parametrize(
    ("at", "minutes", "done"),
    [
        ("04 09:00", 30, "04 09:30"),
        ("04 11:30", 30, "04 12:00"),
        ("04 11:30", 31, "04 13:01"),
        ("04 16:00", 120, "05 09:00"),
        ("04 18:00", 60, "05 09:00"),
        ("06 16:00", 60, "06 17:00"),
        ("06 16:00", 61, "09 08:01"),
        ("02 08:00", 5 * 480, "06 17:00"),
    ],
)
def test_only_open_time_passes(at: str, minutes: float, done: str) -> None:
    assert WEEK.after(posix(at), minutes) == posix(done)


def test_behind_the_last_day_nothing_opens_or_ends() -> None:
    assert WEEK.open_from(posix("13 17:00")) == float("inf")
    assert WEEK.after(posix("13 17:00"), 1) == float("inf")
    assert WEEK.after(posix("13 16:00"), 61) == float("inf")


def test_what_is_always_open_needs_no_waiting() -> None:
    always = Hours({"always": True}, date(2026, 3, 2), date(2026, 3, 13), ZONE)
    assert always.open_from(posix("07 23:00")) == posix("07 23:00")
    assert always.after(posix("07 23:00"), 240) == posix("07 23:00") + 240 * 60
