"""Arithmetic on working days: on dates, never on hours, so that no change of the clock can shift it."""

from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

MONDAY_TO_FRIDAY = frozenset(range(5))


@dataclass(frozen=True)
class Workdays:
    """The days on which somebody works: weekdays (0 is Monday) less single closed days."""

    week: frozenset[int] = MONDAY_TO_FRIDAY
    closed: Collection[date] = field(default_factory=frozenset)

    def __post_init__(self) -> None:
        if not self.week or not self.week <= frozenset(range(7)):
            raise ValueError("a calendar needs at least one working weekday, from 0 (Monday) to 6")

    def is_open(self, day: date) -> bool:
        """Whether somebody works on `day`."""
        return day.weekday() in self.week and day not in self.closed

    def on_or_after(self, day: date) -> date:
        """The first working day from `day` on."""
        while not self.is_open(day):
            day += timedelta(days=1)
        return day

    def shift(self, day: date, days: int) -> date:
        """`days` working days after `day` (before it where negative); 0 keeps `day` as it is."""
        step = timedelta(days=1 if days > 0 else -1)
        for _ in range(abs(days)):
            day += step
            while not self.is_open(day):
                day += step
        return day


def at(day: date, clock: time, zone: ZoneInfo) -> datetime:
    """The instant, in UTC, of a clock time in `zone`.

    A clock time that a change of the clock skips or doubles counts with the offset before the change.
    """
    return datetime.combine(day, clock.replace(fold=0), tzinfo=zone).astimezone(UTC)
