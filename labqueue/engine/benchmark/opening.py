"""Opening hours in minutes from now, for the programs that are compared with the engine."""

import math
from bisect import bisect_right

from labqueue.engine.calendars import MINUTE, Calendar
from labqueue.engine.resources import Resource
from labqueue.engine.seats import open_spans
from labqueue.engine.shop import Shop

PAST = 90 * 1440 * MINUTE


class Hours:
    """Spans in which something is open, ascending and disjoint, and arithmetic in open minutes."""

    def __init__(self, spans: list[tuple[int, int]]) -> None:
        """`spans` in microseconds."""
        self.spans = [(begin / MINUTE, end / MINUTE) for begin, end in spans]
        self.ends = [end for _, end in self.spans]

    def over(self, now: float, minutes: float) -> float:
        """The instant at which `minutes` open minutes after `now` are over; infinite if that never comes."""
        for begin, end in self.spans[bisect_right(self.ends, now) :]:
            begin = max(begin, now)
            if minutes <= end - begin:
                return begin + minutes
            minutes -= end - begin
        return math.inf

    def between(self, first: float, last: float) -> float:
        """Open minutes between two instants."""
        return sum(max(min(end, last) - max(begin, first), 0.0) for begin, end in self.spans)

    def ahead(self) -> list[tuple[float, float]]:
        """The spans that end after now."""
        return [(begin, end) for begin, end in self.spans if end > 0]


def hours_of_resource(shop: Shop, resource: Resource) -> Hours:
    """When a resource is open: its calendar without its absences."""
    return Hours(open_spans(resource, shop.calendars[resource.calendar], shop.now, -PAST, shop.horizon))


def hours_of_calendar(shop: Shop, calendar: Calendar) -> Hours:
    """When a calendar is open."""
    return Hours(calendar.spans(shop.now, 0, shop.horizon))


def load_times(shop: Shop, resource: Resource) -> list[float]:
    """The instants at which the clock starts loads of a resource: those at which its calendar is open."""
    if resource.load is None:
        return []
    calendar = shop.calendars[resource.calendar]
    spans = calendar.spans(shop.now, 0, shop.horizon)
    instants = calendar.clock_instants(resource.load.start_at, shop.now, shop.horizon)
    return [t / MINUTE for t in instants if any(begin <= t < end for begin, end in spans)]
