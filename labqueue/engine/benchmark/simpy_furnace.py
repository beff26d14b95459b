"""Batch stations of the SimPy program: families of jobs that share a load."""

from collections import deque
from collections.abc import Generator
from heapq import heappop, heappush
from typing import Any

import simpy

from labqueue.engine.benchmark.draws import Draw
from labqueue.engine.benchmark.opening import hours_of_resource, load_times
from labqueue.engine.resources import Resource
from labqueue.engine.shop import Shop

LAST = 2
"""The priority of an event that comes after all others of its instant."""
SOON = 1e-6


class EndOfInstant(simpy.Event):  # type: ignore[misc, unused-ignore]
    """An event of this instant, after all others of it."""

    def __init__(self, env: Any) -> None:
        super().__init__(env)
        self._ok, self._value = True, None
        env.schedule(self, LAST)


class Visit:
    """One job waiting for its load, and then in it."""

    __slots__ = ("draw", "entered", "gone", "key", "left", "units", "wake_key")

    def __init__(self, env: Any, key: tuple[Any, ...], wake_key: tuple[Any, ...], units: int, draw: Draw) -> None:
        self.key, self.wake_key, self.units, self.draw = key, wake_key, units, draw
        self.entered: float = env.now
        self.gone = False
        """Whether it no longer waits."""
        self.left = env.event()
        """Happens when the load is finished."""


class Family:
    """Jobs that wait and can share a load: by rule in `waiting`, by entry in `oldest`, where some may be gone."""

    def __init__(self) -> None:
        self.waiting: list[tuple[tuple[Any, ...], Visit]] = []
        self.oldest: deque[Visit] = deque()
        self.units = 0

    def head(self) -> tuple[Any, ...]:
        """The key of the first by rule; the family is not empty."""
        while self.waiting[0][1].gone:
            heappop(self.waiting)
        return self.waiting[0][0]

    def first_in(self) -> Visit | None:
        """The one that has waited longest."""
        while self.oldest and self.oldest[0].gone:
            self.oldest.popleft()
        return self.oldest[0] if self.oldest else None

    def take(self, capacity: int) -> list[Visit]:
        """Those that fill a load in order of the rule; one that does not fit is passed over."""
        taken, passed = [], []
        while self.waiting and capacity:
            key, visit = heappop(self.waiting)
            if visit.gone:
                continue
            if visit.units > capacity:
                passed.append((key, visit))
                continue
            taken.append(visit)
            visit.gone = True
            capacity -= visit.units
        for entry in passed:
            heappush(self.waiting, entry)
        self.units -= sum(visit.units for visit in taken)
        return taken


class Furnace:
    """One batch station and the one resource that serves it."""

    def __init__(self, shop: Shop, resource: Resource, rule: str) -> None:
        assert resource.load is not None
        self.count, self.pauses, self.edd = resource.count, resource.pauses, rule == "edd"
        self.capacity, self.wait = resource.load.capacity, resource.load.wait_minutes
        self.hours = hours_of_resource(shop, resource)
        self.clocks = load_times(shop, resource)
        self.warm_up = shop.warm_up_minutes

    def reset(self, env: Any) -> None:
        """Forget all work and begin at time 0."""
        self.env = env
        self.waited = 0.0
        self.started = 0
        self.free = self.count
        self.open = False
        self.clock = -1.0
        self.families: dict[str, Family] = {}

    def open_and_close(self) -> Generator[Any, Any, None]:
        """Open and close by the calendar."""
        for begin, end in self.hours.ahead():
            if begin > self.env.now:
                yield self.env.timeout(begin - self.env.now)
            self.open = True
            EndOfInstant(self.env).callbacks.append(self.hand_out)
            yield self.env.timeout(end - self.env.now)
            self.open = False

    def watch_clock(self) -> Generator[Any, Any, None]:
        """At a clock time whatever waits may start."""
        for instant in self.clocks:
            yield self.env.timeout(instant - self.env.now)
            self.clock = self.env.now
            EndOfInstant(self.env).callbacks.append(self.hand_out)

    def enter(self, visit: Visit, family_name: str) -> None:
        """A job begins to wait."""
        family = self.families.setdefault(family_name, Family())
        heappush(family.waiting, (visit.key, visit))
        family.oldest.append(visit)
        family.units += visit.units
        if family.units >= self.capacity or self.wait == 0 or self.clock == self.env.now:
            EndOfInstant(self.env).callbacks.append(self.hand_out)
        elif family.first_in() is visit:
            self._alarm(family)

    def leave(self, visit: Visit, family_name: str) -> None:
        """A job is sent back: it waits no longer, or drops out of its load."""
        if not visit.gone:
            visit.gone = True
            family = self.families[family_name]
            family.units -= visit.units
            self._alarm(family)
        visit.left = None

    def _alarm(self, family: Family) -> None:
        """Look again when the oldest has waited long enough."""
        oldest = family.first_in()
        if oldest is not None and self.wait is not None:
            left = oldest.entered + self.wait - self.env.now
            if left > 0:
                self.env.timeout(left).callbacks.append(self._alarm_rings)

    def _alarm_rings(self, _: Any) -> None:
        if self.free and self.open:
            EndOfInstant(self.env).callbacks.append(self.hand_out)

    def hand_out(self, _: Any) -> None:
        """Start what may start while a unit is free."""
        while self.free and self.open:
            able = [family for family in self.families.values() if self._may_start(family)]
            if not able:
                return
            family = min(able, key=Family.head)
            self.free -= 1
            members = family.take(self.capacity)
            now = self.env.now
            if now >= self.warm_up:
                self.waited += sum(now - visit.entered for visit in members)
                self.started += len(members)
            self.env.process(self.load(members, members[0].draw()))
            self._alarm(family)

    def _may_start(self, family: Family) -> bool:
        oldest = family.first_in()
        if oldest is None:
            return False
        if family.units >= self.capacity or self.clock == self.env.now:
            return True
        return self.wait is not None and self.env.now >= oldest.entered + self.wait - SOON

    def load(self, members: list[Visit], minutes: float) -> Generator[Any, Any, None]:
        """One load, which all its members leave together; they go on in the order in which they are served next."""
        yield self.env.timeout(self.finish(self.env.now, minutes) - self.env.now)
        self.free += 1
        for visit in sorted(members, key=lambda visit: visit.wake_key):
            if visit.left is not None:
                visit.left.succeed()
        EndOfInstant(self.env).callbacks.append(self.hand_out)

    def finish(self, now: float, minutes: float) -> float:
        """The instant at which a load of `minutes` that goes on from now is finished."""
        return self.hours.over(now, minutes) if self.pauses else now + minutes
