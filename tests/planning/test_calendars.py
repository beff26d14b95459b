"""Working hours as the engine's calendars, and the questions that planning asks of them."""

from datetime import UTC, date, datetime, timedelta

import pytest

from labqueue.engine import ShopError
from labqueue.engine.calendars import read_calendar
from labqueue.planning.calendars import calendars, is_open, open_minutes, resources
from labqueue.planning.snapshot import Hours
from tests.planning.build import DAY, FURNACE, NOW, WEEK, ago, laboratory, server

DAY_HOURS = Hours(WEEK)


def test_a_shift_is_a_calendar_with_its_closed_days() -> None:
    closed = frozenset({date(2026, 3, 17), date(2026, 3, 9)})
    stated = calendars(laboratory(closed=closed))
    assert stated["day"] == {
        "time_zone": "America/New_York",
        "week": WEEK,
        "days": {"2026-03-09": [], "2026-03-17": []},
    }


def test_around_the_clock_knows_no_closed_day() -> None:
    stated = calendars(laboratory(closed=frozenset({date(2026, 3, 9)})))
    assert stated["always"] == {"always": True, "time_zone": "America/New_York"}


@pytest.mark.parametrize("name", ["day", "always"])
def test_the_engine_reads_what_is_stated(name: str) -> None:
    stated = calendars(laboratory(closed=frozenset({date(2026, 3, 9)})))[name]
    calendar = read_calendar(stated, name)
    monday = datetime(2026, 3, 9, 14, 0, tzinfo=UTC)
    assert bool(calendar.spans(monday, 0, 60_000_000)) == (name == "always")


def test_the_engine_refuses_a_week_that_is_none() -> None:
    with pytest.raises(ShopError, match=r"week\.mon"):
        read_calendar({"time_zone": "America/New_York", "week": {"mon": [["12:00", "08:00"]]}}, "day")


def test_a_person_is_a_resource() -> None:
    away = (ago(hours=1), NOW + timedelta(days=1))
    stated = resources(laboratory(servers=(server("mill", count=2, away=(away,)),)))
    assert stated == {
        "mill bench": {
            "stations": ["mill"],
            "calendar": "day",
            "count": 2,
            "pauses": True,
            "away": [["2026-03-04T14:00:00+00:00", "2026-03-05T15:00:00+00:00"]],
        }
    }


def test_a_furnace_states_its_load() -> None:
    stated = resources(laboratory(servers=(FURNACE,)))["fire bench"]
    assert stated["load"] == {"capacity": 8, "wait_minutes": 30}
    assert stated["pauses"] is False


@pytest.mark.parametrize(
    ("clock", "answer"),
    [("07:59", False), ("08:00", True), ("11:59", True), ("12:00", False), ("13:00", True), ("17:00", False)],
)
def test_open_from_the_beginning_of_a_span_to_before_its_end(clock: str, answer: bool) -> None:
    now = datetime.fromisoformat(f"2026-03-04T{clock}-05:00")
    assert is_open(server("mill"), laboratory(now=now)) is answer


def test_closed_on_sunday_on_a_closed_day_and_when_away() -> None:
    sunday = laboratory(now=datetime.fromisoformat("2026-03-08T10:00-04:00"))
    assert not is_open(server("mill"), sunday)
    assert not is_open(server("mill"), laboratory(closed=frozenset({date(2026, 3, 4)})))
    assert not is_open(server("mill", away=((ago(hours=1), NOW + timedelta(hours=1)),)), laboratory())
    assert is_open(server("mill", away=((ago(hours=2), NOW),)), laboratory())


def test_around_the_clock_is_open_at_night_but_not_when_away() -> None:
    night = laboratory(now=datetime.fromisoformat("2026-03-04T03:00-05:00"))
    assert is_open(FURNACE, night)
    away = ((night.now - timedelta(hours=1), night.now + timedelta(hours=1)),)
    assert not is_open(server("fire", hours="always", away=away), night)


def test_open_minutes_of_a_week_a_part_and_a_closed_day() -> None:
    week_ago = NOW - timedelta(days=7)
    assert open_minutes(DAY_HOURS, laboratory(), week_ago, NOW) == 5 * 480
    assert open_minutes(DAY_HOURS, laboratory(), ago(hours=1), NOW) == 60
    assert open_minutes(DAY_HOURS, laboratory(closed=frozenset({date(2026, 3, 2)})), week_ago, NOW) == 4 * 480
    assert open_minutes(Hours(always=True), laboratory(), week_ago, NOW) == 7 * 24 * 60


def test_open_minutes_do_not_shift_with_the_clock_change() -> None:
    """On Sunday 8 March the clock skips an hour, outside of working hours."""
    snapshot = laboratory()
    before, after = datetime(2026, 3, 6, 5, tzinfo=UTC), datetime(2026, 3, 10, 4, tzinfo=UTC)
    assert open_minutes(DAY_HOURS, snapshot, before, after) == 2 * 480


def test_a_span_may_end_with_the_day() -> None:
    late = Hours({day: [["22:00", "24:00"]] for day in WEEK})
    assert open_minutes(late, laboratory(), ago(days=1), NOW) == 120
    assert DAY[0] == ["08:00", "12:00"], "spans are read, not changed"
