"""Working hours of the demonstration, as spans of instants, for its own small simulation of the past."""

from bisect import bisect_left, bisect_right
from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from itertools import accumulate
from typing import Any
from zoneinfo import ZoneInfo

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


class Hours:
    """Spans in which somebody works, between two days. Instants are POSIX seconds, durations minutes."""

    def __init__(self, shift: Mapping[str, Any], first: date, last: date, zone: ZoneInfo) -> None:
        self.spans = list(_spans(shift, first, last, zone))
        self.starts = [start for start, _ in self.spans]
        self.ends = [end for _, end in self.spans]
        self.worked = [0.0, *accumulate(end - start for start, end in self.spans)]

    def open_from(self, at: float) -> float:
        """The first instant from `at` on at which work may start."""
        index = bisect_right(self.ends, at)
        return max(at, self.starts[index]) if index < len(self.starts) else float("inf")

    def after(self, at: float, minutes: float) -> float:
        """The instant at which `minutes` of open time have passed since `at`."""
        index = bisect_right(self.ends, at)
        if index >= len(self.spans):
            return float("inf")
        need = self.worked[index] + max(0.0, at - self.starts[index]) + minutes * 60
        last = bisect_left(self.worked, need) - 1
        return self.starts[last] + need - self.worked[last] if last < len(self.starts) else float("inf")


def _spans(shift: Mapping[str, Any], first: date, last: date, zone: ZoneInfo) -> "list[tuple[float, float]]":
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    if shift.get("always"):
        return [(_posix(first, "00:00", zone), _posix(last, "00:00", zone))]
    week = shift["week"]
    pairs = [(day, span) for day in days for span in week.get(WEEKDAYS[day.weekday()], [])]
    return [(_posix(day, span[0], zone), _posix(day, span[1], zone)) for day, span in pairs]


def _posix(day: date, clock: str, zone: ZoneInfo) -> float:
    return datetime.combine(day, time.fromisoformat(clock), tzinfo=zone).timestamp()
