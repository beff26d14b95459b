"""Compiling the hall: calendars, stations, resources and the queues before them, as arrays of records."""

from bisect import bisect_right
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from labqueue.engine.calendars import Span, microseconds, since
from labqueue.engine.numbering import Places, Records, column, records, table
from labqueue.engine.resources import CLOCK_RULES, RULES, Resource
from labqueue.engine.seats import Seat, open_spans
from labqueue.engine.shop import Shop
from labqueue.engine.state import BITS, CALENDAR, INDEX, NEVER, RESOURCE, SPAN, STATION, TIME, UNIT, UNKNOWN

Away = tuple[tuple[datetime, datetime], ...]


@dataclass(frozen=True)
class Hours:
    """The different opening hours in a shop: spans in microseconds from now, and the number of each pair of
    calendar and absences."""

    numbers: dict[tuple[str, Away], int]
    spans: list[list[Span]]

    @classmethod
    def of(cls, shop: Shop, seats: list[Seat]) -> "Hours":
        """All calendars with absences of resources, and those of arrivals; from the earliest `since` to the horizon."""
        begin = min([0, *(since(shop.now, seat.since) for seat in seats)])
        numbers: dict[tuple[str, Away], int] = {}
        spans: list[list[Span]] = []
        bare = [Resource(entry.calendar, (), entry.calendar) for entry in shop.arrivals]
        for resource in [*shop.resources, *bare]:
            key = (resource.calendar, resource.away)
            if key not in numbers:
                numbers[key] = len(spans)
                spans.append(open_spans(resource, shop.calendars[resource.calendar], shop.now, begin, shop.horizon))
        return cls(numbers, spans)

    def number(self, resource: Resource) -> int:
        """The number of a resource's hours."""
        return self.numbers[resource.calendar, resource.away]

    def arrays(self) -> dict[str, Any]:
        """The arrays `calendar` and `span`; before the spans of each calendar stands an empty one."""
        calendar_rows: list[tuple[int, ...]] = []
        span_rows: list[tuple[int, int, int]] = []
        for spans in self.spans:
            span_rows.append((-NEVER, -NEVER, 0))
            at = len(span_rows)
            before = 0
            for begin, end in spans:
                if end > 0:
                    span_rows.append((begin, end, before))
                    before += end - begin
            opened = at < len(span_rows) and span_rows[at][0] <= 0
            calendar_rows.append((span_rows[at][1] if opened else -1, at, len(span_rows), int(opened)))
        return {"calendar": records(calendar_rows, CALENDAR), "span": records(span_rows, SPAN)}

    def next_change(self, number: int) -> int:
        """The next instant after now at which these hours open or close, NEVER if none."""
        changes = [instant for span in self.spans[number] for instant in span if instant > 0]
        return min(changes, default=NEVER)


def is_grouped(shop: Shop, station: str) -> bool:
    """Whether the steps that wait at a station stand in groups (see `groups`)."""
    return shop.stations[station] in CLOCK_RULES and not any(r.load for r in shop.serving(station))


def station_rows(shop: Shop, places: Places) -> Records:
    """The stations with their rules, their queues and the mean time of a step there."""
    most_units = max([1, *(job.units for job in shop.jobs), *(entry.units for entry in shop.arrivals)])
    rows = []
    for station, rule in shop.stations.items():
        means = [s.minutes.mean for route in shop.routes.values() for s in route.steps if s.station == station]
        mean = sum(means) / len(means) if means else 0.0
        queues = [number for (name, _), number in places.queues.items() if name == station]
        loads = [r.load for r in shop.serving(station) if r.load is not None]
        uneven = any(load.capacity < most_units for load in loads)
        rows.append(
            {
                "rule": RULES.index(rule),
                "queue0": queues[0],
                "queue1": queues[-1] + 1,
                "loads": bool(loads),
                "singles": len(loads) < len(shop.serving(station)),
                "uneven": uneven,
                "grouped": is_grouped(shop, station),
                "three_means": 3 * max(mean, 1e-9),
            }
        )
    return table(rows, STATION)


def resource_arrays(shop: Shop, places: Places, hours: Hours, timer_leaf: int) -> dict[str, Any]:
    """The arrays `resource`, `unit`, `served` and `clock`."""
    rows: list[dict[str, Any]] = []
    units: list[tuple[int, ...]] = []
    served: list[int] = []
    clocks: list[int] = []
    for i, r in enumerate(shop.resources):
        first_unit, first_served, first_clock = len(units), len(served), len(clocks)
        units += [(-1, -1, first_unit + k + 1 if k + 1 < r.count else -1, i, -1) for k in range(r.count)]
        served += [places.stations[station] for station in r.stations]
        clocks += clock_instants(shop, r)
        rows.append(
            {
                "wait": -1 if r.load is None or r.load.wait_minutes is None else microseconds(r.load.wait_minutes),
                "capacity": 0 if r.load is None else r.load.capacity,
                "clock_hit": UNKNOWN,
                "calendar": hours.number(r),
                "count": r.count,
                "free": r.count,
                "spare": first_unit if r.count else -1,
                "pauses": r.pauses,
                "load": r.load is not None,
                "station0": first_served,
                "station1": len(served),
                "timer": timer_leaf + i,
                "clock0": first_clock,
                "clock1": len(clocks),
            }
        )
    return {
        "resource": table(rows, RESOURCE),
        "unit": records(units, UNIT),
        "served": column(served, INDEX),
        "clock": column(clocks, TIME),
    }


def clock_instants(shop: Shop, resource: Resource) -> list[int]:
    """The start_at instants of a resource at which its calendar is open."""
    if resource.load is None or not resource.load.start_at:
        return []
    calendar = shop.calendars[resource.calendar]
    spans = calendar.spans(shop.now, 0, shop.horizon)
    begins = [begin for begin, _ in spans]
    instants = calendar.clock_instants(resource.load.start_at, shop.now, shop.horizon)
    places = [(instant, bisect_right(begins, instant) - 1) for instant in instants]
    return [instant for instant, place in places if place >= 0 and instant < spans[place][1]]


def bit_rows(members: list[list[int]], words: int) -> Records:
    """Sets of numbers as rows of bits, `words` words of 64 bits for each set."""
    rows = [0] * (len(members) * words)
    for row, numbers in enumerate(members):
        for number in numbers:
            rows[row * words + (number >> 6)] |= 1 << (number & 63)
    return column(rows, BITS)


def bit_arrays(shop: Shop, hours: Hours) -> dict[str, Any]:
    """Who serves which station, who keeps which hours, who is free and open at now."""
    words = max((len(shop.resources) + 63) >> 6, 1)
    numbered = [(i, r) for i, r in enumerate(shop.resources) if r.count]
    opened = [any(begin <= 0 < end for begin, end in spans) for spans in hours.spans]
    return {
        "serves": bit_rows([[i for i, r in numbered if name in r.stations] for name in shop.stations], words),
        "hours": bit_rows([[i for i, r in numbered if hours.number(r) == k] for k in range(len(hours.spans))], words),
        "free": bit_rows([[i for i, r in numbered if opened[hours.number(r)]]], words),
        "asked": bit_rows([[]], words),
    }
