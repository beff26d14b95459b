"""Working calendars: when something is open, as spans of microseconds counted from the shop's `now`."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from labqueue.engine.reading import join, listing, mapping, refuse, text, truth

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
MINUTE = 60_000_000
"""Microseconds in a minute: the kernel counts time in whole microseconds, so sums are exact in any order."""
FOREVER = 1 << 60
"""A time after everything that can happen; minus it, before everything."""

Span = tuple[int, int]
ClockSpan = tuple[int, int]


@dataclass(frozen=True)
class Calendar:
    """Opening hours: clock spans (minutes after midnight) by weekday, and by date where a day differs."""

    always: bool = False
    zone: tzinfo | None = None
    week: tuple[tuple[ClockSpan, ...], ...] = ((),) * 7
    days: tuple[tuple[date, tuple[ClockSpan, ...]], ...] = ()

    def spans(self, now: datetime, begin: int, end: int) -> list[Span]:
        """Open spans that touch [begin, end], ascending and disjoint, in microseconds from `now`.

        Spans that touch or overlap (over midnight, or through a clock change) are joined into one.
        """
        if self.always:
            return [(-FOREVER, FOREVER)]
        days = dict(self.days)
        found: list[Span] = []
        for day in _dates(now, begin, end, self.zone or now.tzinfo):
            for first, last in days.get(day, self.week[day.weekday()]):
                span = (self.at(day, first, now), self.at(day, last, now))
                if span[0] < span[1]:
                    found.append(span)
        return [span for span in joined(found) if span[1] >= begin and span[0] <= end]

    def at(self, day: date, clock: int, now: datetime) -> int:
        """The instant at which the clock shows `clock` minutes after midnight of `day`.

        A clock time that a clock change skips or doubles counts with the offset before the change (PEP 495, fold 0).
        """
        whole_day = timedelta(days=clock // 1440)
        local = datetime.combine(day + whole_day, time(clock % 1440 // 60, clock % 60), self.zone or now.tzinfo)
        return since(now, local)

    def holds(self, clock: int) -> bool:
        """Whether any day of this calendar is open at that clock time."""
        every_day = [*self.week, *(spans for _, spans in self.days)]
        return self.always or any(first <= clock < last for spans in every_day for first, last in spans)

    def clock_instants(self, clocks: Iterable[int], now: datetime, end: int) -> list[int]:
        """The instants in [0, end] at which the clock shows one of `clocks`, ascending, open or not."""
        days = list(_dates(now, 0, end, self.zone or now.tzinfo))
        instants = {self.at(day, clock, now) for clock in clocks for day in days}
        return sorted(instant for instant in instants if 0 <= instant <= end)


def microseconds(minutes: float) -> int:
    """Minutes as whole microseconds."""
    return int(minutes * MINUTE + 0.5)


def since(now: datetime, moment: datetime) -> int:
    """Microseconds from `now` to `moment`, both aware."""
    return (moment.astimezone(UTC) - now.astimezone(UTC)) // timedelta(microseconds=1)


def joined(spans: Iterable[Span]) -> list[Span]:
    """The union of `spans` as disjoint spans in ascending order; spans that touch become one."""
    result: list[Span] = []
    for begin, end in sorted(spans):
        if result and begin <= result[-1][1]:
            result[-1] = (result[-1][0], max(end, result[-1][1]))
        else:
            result.append((begin, end))
    return result


def without(spans: Iterable[Span], holes: Iterable[Span]) -> list[Span]:
    """`spans` minus `holes`, ascending."""
    result = list(spans)
    for begin, end in holes:
        parts = [part for a, b in result for part in ((a, min(b, begin)), (max(a, end), b))]
        result = [(a, b) for a, b in parts if a < b]
    return sorted(result)


def read_calendar(value: object, place: str) -> Calendar:
    """Read one calendar of the shop file."""
    given = mapping(value, place, known=["time_zone", "week", "days", "always"])
    zone = _zone(given["time_zone"], join(place, "time_zone")) if "time_zone" in given else None
    if truth(given.get("always", False), join(place, "always")):
        for key in ("week", "days"):
            if key in given:
                refuse(join(place, key), "a calendar that is always open has none")
        return Calendar(always=True, zone=zone)
    if zone is None:
        refuse(join(place, "time_zone"), "is missing; name a time zone such as America/New_York, or say always: true")
    week = mapping(given.get("week", {}), join(place, "week"), known=DAYS)
    days = mapping(given.get("days", {}), join(place, "days"))
    return Calendar(
        zone=zone,
        week=tuple(_clock_spans(week.get(day, []), f"{place}.week.{day}") for day in DAYS),
        days=tuple(
            (_date(day, f"{place}.days.{day}"), _clock_spans(spans, f"{place}.days.{day}"))
            for day, spans in days.items()
        ),
    )


def read_clock(value: object, place: str) -> int:
    """A clock time `HH:MM` as minutes after midnight; `24:00` is the end of the day."""
    hours, _, rest = text(value, place).partition(":")
    if not (len(hours) == len(rest) == 2 and (hours + rest).isascii() and (hours + rest).isdigit()):
        refuse(place, f'must be a clock time such as 08:00, not "{value}"')
    clock = int(hours) * 60 + int(rest)
    if int(rest) > 59 or clock > 1440:
        refuse(place, f'must be a clock time of 00:00 to 24:00, not "{value}"')
    return clock


def _clock_spans(value: object, place: str) -> tuple[ClockSpan, ...]:
    found: list[ClockSpan] = []
    for i, item in enumerate(listing(value, place)):
        pair = listing(item, f"{place}[{i}]")
        if len(pair) != 2:
            refuse(f"{place}[{i}]", 'must be two clock times such as ["08:00", "12:00"]')
        begin, end = (read_clock(clock, f"{place}[{i}][{k}]") for k, clock in enumerate(pair))
        if end <= begin:
            refuse(f"{place}[{i}]", "must end after it begins")
        found.append((begin, end))
    return tuple(found)


def _zone(value: object, place: str) -> ZoneInfo:
    name = text(value, place)
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        refuse(place, f'no time zone "{name}"')


def _date(value: str, place: str) -> date:
    try:
        return date.fromisoformat(value)
    except ValueError:
        refuse(place, f'must be a date such as 2026-12-25, not "{value}"')


def _dates(now: datetime, begin: int, end: int, zone: tzinfo | None) -> Iterator[date]:
    """The local dates that can touch [begin, end], with a day to spare on both sides."""
    utc = now.astimezone(UTC)
    day = (utc + timedelta(microseconds=begin)).astimezone(zone).date() - timedelta(days=1)
    last = (utc + timedelta(microseconds=end)).astimezone(zone).date() + timedelta(days=1)
    while day <= last:
        yield day
        day += timedelta(days=1)
