"""What numbers, moments and dates look like to people."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.utils import timezone

from labqueue.base.templatetags import house

NOW = datetime(2026, 11, 24, 21, 30, tzinfo=UTC)  # a Tuesday, 16:30 in New York
TODAY = date(2026, 11, 24)


@pytest.fixture(autouse=True)
def tuesday() -> Iterator[None]:
    """The clock stands still in the laboratory's zone."""
    with time_machine.travel(NOW, tick=False), timezone.override(ZoneInfo("America/New_York")):
        yield


def test_moment_has_weekday_and_the_laboratory_s_clock() -> None:
    assert house.moment(NOW) == "Tue 24 Nov, 16:30"
    assert house.moment(None) == "—"


def test_day_has_its_weekday() -> None:
    assert house.day(TODAY) == "Tue 24 Nov"
    assert house.day(None) == "—"


def test_day_of_an_instant_is_the_laboratory_s() -> None:
    assert house.day(datetime(2026, 11, 25, 3, 0, tzinfo=UTC)) == "Tue 24 Nov"


def test_day_of_another_year_says_so() -> None:
    assert house.day(date(2027, 1, 4)) == "Mon 4 Jan 2027"


@pytest.mark.parametrize(
    ("days", "words", "tone"),
    [
        (-12, "12 days late", "late"),
        (-1, "1 day late", "late"),
        (0, "today", "watch"),
        (1, "tomorrow", "watch"),
        (2, "in 2 days", "quiet"),
    ],
)
def test_countdown_in_calendar_days(days: int, words: str, tone: str) -> None:
    due = TODAY + timedelta(days=days)
    assert (house.countdown(due), house.countdown_tone(due)) == (words, tone)


def test_instant_of_today_is_late_once_it_is_past() -> None:
    early, due = NOW - timedelta(hours=2), NOW + timedelta(hours=2)
    assert (house.countdown(early), house.countdown_tone(early)) == ("2 h late", "late")
    assert (house.countdown(due), house.countdown_tone(due)) == ("today", "watch")


def test_countdown_turns_at_the_laboratory_s_midnight() -> None:
    assert house.countdown(datetime(2026, 11, 25, 4, 59, tzinfo=UTC)) == "today"
    assert house.countdown(datetime(2026, 11, 25, 5, 0, tzinfo=UTC)) == "tomorrow"


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0, "0 s"), (59, "59 s"), (60, "1 min"), (3_599, "59 min"), (3_600, "1 h"), (86_400, "1 d"), (200_000, "2 d")],
)
def test_age_in_one_unit(seconds: int, words: str) -> None:
    assert house.age(NOW - timedelta(seconds=seconds)) == words
    assert house.duration(timedelta(seconds=seconds)) == words


def test_age_of_what_never_was() -> None:
    assert house.age(None) == "never"
    assert house.duration(None) == "—"


def test_age_is_not_negative_where_clocks_differ() -> None:
    assert house.age(NOW + timedelta(seconds=5)) == "0 s"


@pytest.mark.parametrize(
    ("share", "words"),
    [
        *((0.0, "0 %"), (0.004, "< 1 %"), (0.01, "1 %"), (0.174, "17 %")),
        *((0.99, "99 %"), (0.996, "> 99 %"), (1.0, "100 %"), (None, "—")),
    ],
)
def test_percent_is_never_surer_than_it_is(share: float | None, words: str) -> None:
    assert house.percent(share) == words


@pytest.mark.parametrize(("share", "length"), [(0.0, "0.0"), (0.875, "87.5"), (1.2, "100.0"), (-0.1, "0.0")])
def test_a_bar_stays_in_its_frame(share: float, length: str) -> None:
    assert house.out_of_100(share) == length


@pytest.mark.parametrize(
    ("late", "word", "tone", "level"),
    [
        (0.0, "on track", "good", 0),
        (0.0999, "on track", "good", 0),
        (0.10, "watch", "watch", 1),
        (0.2499, "watch", "watch", 1),
        (0.25, "at risk", "risk", 2),
        (0.4999, "at risk", "risk", 2),
        (0.50, "late likely", "late", 3),
        (1.0, "late likely", "late", 3),
    ],
)
def test_risk_has_a_word_a_tone_and_a_level(late: float, word: str, tone: str, level: int) -> None:
    assert (house.risk_word(late), house.risk_tone(late), house.risk_level(late)) == (word, tone, level)
