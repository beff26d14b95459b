"""What happened on the demonstration's floor: its own small simulation of the past, earliest due date first.

Each piece goes through the steps of its route; what is not over by now is cut off by whoever writes the rows.
"""

import heapq
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from labqueue.demo.calendars import WEEKDAYS, Hours
from labqueue.demo.demand import Hold, Order, Trace

FURNACE = "sintering"
# Absences, breakdowns and interruptions: a step takes so much longer than its hands-on time.
LOST_TIME = 1.08
# Seconds until a piece that must wait for another is looked at again.
LOOK_AGAIN = 600
# How far behind the last day the calendars go: no step takes longer.
AHEAD = timedelta(days=30)


@dataclass
class Bench:
    """One resource: how many pieces at once, when it is open, and whether work pauses when it closes."""

    hours: Hours
    free: int
    pauses: bool
    load: bool
    waiting: "list[tuple[float, int, Ticket]]" = field(default_factory=list)


@dataclass
class Ticket:
    """One piece under way: its order, its trace and its steps."""

    order: Order
    trace: Trace
    steps: list[Mapping[str, Any]]
    at: int = 0
    waits_for: "Ticket | None" = None
    case: "list[Ticket]" = field(default_factory=list)

    def index_of(self, station: str) -> int:
        """The place of the step at that station."""
        return next(n for n, step in enumerate(self.steps) if step["station"] == station)

    @property
    def step(self) -> Mapping[str, Any]:
        """The step that is next."""
        return self.steps[self.at]


class Floor:
    """The event loop. Events are (instant, serial, what happens)."""

    def __init__(self, laboratory: Mapping[str, Any], first: date, last: date, zone: ZoneInfo, seed: int) -> None:
        self.rng = Random(seed)  # noqa: S311 - a demonstration, not a secret
        self.zone = zone
        self.routes = laboratory["routes"]
        self.benches = {
            r["stations"][0]: _bench(r, laboratory["shifts"], first, last, zone) for r in laboratory["resources"]
        }
        self.morning = _daily("07:00", "07:30", first, last, zone)
        self.evening = _daily("17:00", "17:10", first, last, zone)
        self.events: list[tuple[float, int, str, Any]] = []
        self.serial = 0
        self.woken: set[tuple[str, float]] = set()

    def run(self, orders: list[Order], until: float) -> None:
        """Fill in the trace of every piece of every order, as far as it began by `until`."""
        for order in orders:
            if order.released <= until:
                self._release(order)
        while self.events and self.events[0][0] <= until:
            at, _, kind, what = heapq.heappop(self.events)
            if kind == "ready":
                self._queue(at, what)
            elif kind == "wake":
                self._dispatch(at, what)
            else:
                self._finish(at, what)

    def _release(self, order: Order) -> None:
        by_tooth: dict[int, list[Ticket]] = defaultdict(list)
        case: list[Ticket] = []
        for piece in order.pieces:
            trace = Trace(piece)
            order.trace.append(trace)
            ticket = Ticket(order, trace, self.routes[piece.make], case=case)
            case.append(ticket)
            by_tooth[piece.tooth].append(ticket)
        for tickets in by_tooth.values():
            abutment = next((t for t in tickets if t.trace.piece.kind == "abutment"), None)
            for ticket in tickets:
                ticket.waits_for = abutment if ticket is not abutment else None
                self._push(order.released, "ready", ticket)

    def _push(self, at: float, kind: str, what: Any) -> None:
        self.serial += 1
        heapq.heappush(self.events, (at, self.serial, kind, what))

    def _queue(self, at: float, ticket: Ticket) -> None:
        if _must_wait(ticket):
            self._push(at + LOOK_AGAIN, "ready", ticket)
            return
        station = ticket.step["station"]
        self.serial += 1
        heapq.heappush(self.benches[station].waiting, (ticket.order.due, self.serial, ticket))
        self._dispatch(at, station)

    def _dispatch(self, at: float, station: str) -> None:
        bench = self.benches[station]
        while bench.waiting and bench.free:
            opens = self.evening.open_from(at) if station == FURNACE else bench.hours.open_from(at)
            if opens > at:
                self._wake(opens, station)
                return
            self._start(at, heapq.heappop(bench.waiting)[2], bench)

    def _wake(self, at: float, station: str) -> None:
        if at != float("inf") and (station, at) not in self.woken:
            self.woken.add((station, at))
            self._push(at, "wake", station)

    def _start(self, at: float, ticket: Ticket, bench: Bench) -> None:
        bench.free -= 1
        step = ticket.step
        tries = 2 if self.rng.random() < step.get("fail", 0) else 1
        minutes = sum(self._draw(step["minutes"]) for _ in range(tries if not bench.load else 1))
        minutes *= 1 if bench.load else LOST_TIME
        end = bench.hours.after(at, minutes) if bench.pauses else at + minutes * 60
        if step["station"] == FURNACE:
            end = self.morning.open_from(end) + self.rng.uniform(0, 1500)
        ticket.trace.times.append((at, end))
        self._push(end, "done", ticket)

    def _draw(self, distribution: Mapping[str, Any]) -> float:
        low, mode, high = distribution["triangular"]
        return self.rng.triangular(low, high, mode)

    def _finish(self, at: float, ticket: Ticket) -> None:
        station = ticket.step["station"]
        self.benches[station].free += 1
        ticket.at += 1
        if ticket.at == 1 and ticket.order.hold:
            self._hold(at, ticket.order.hold, ticket.case)
        elif ticket.at < len(ticket.steps):
            self._carry(at, ticket)
        self._dispatch(at, station)

    def _hold(self, at: float, hold: Hold, case: list[Ticket]) -> None:
        """The question comes up once all pieces of the case are taken in; none goes on before it is answered."""
        if all(ticket.at for ticket in case):
            hold.since = at
            hold.until = self.benches["intake"].hours.open_from(at + hold.minutes * 60)
            for ticket in case:
                self._carry(hold.until, ticket)

    def _carry(self, at: float, ticket: Ticket) -> None:
        carried = self._draw(ticket.step["wait"]) if "wait" in ticket.step else 0
        self._push(at + carried * 60, "ready", ticket)


def _daily(opens: str, closes: str, first: date, last: date, zone: ZoneInfo) -> Hours:
    week = {day: [[opens, closes]] for day in WEEKDAYS[:5]}
    return Hours({"week": week}, first, last + AHEAD, zone)


def _must_wait(ticket: Ticket) -> bool:
    """A crown waits for its abutment; packing waits for all pieces of the case."""
    partner = ticket.waits_for
    if ticket.step.get("joins") and partner and partner.at < partner.index_of("quality"):
        return True
    return ticket.step["station"] == "packing" and any(t.at < t.index_of("packing") for t in ticket.case)


def _bench(resource: Mapping[str, Any], shifts: Mapping[str, Any], first: date, last: date, zone: ZoneInfo) -> Bench:
    hours = Hours(shifts[resource["shift"]], first, last + AHEAD, zone)
    places = resource.get("count", 1) * resource.get("load", {}).get("capacity", 1)
    return Bench(hours, places, resource.get("pauses", True), "load" in resource)
