"""A plain event loop that does, slowly and by other means, what the kernel does: the witness of the exact semantics.

It shares with the engine the checked shop, the calendars' spans and the quantile functions; the hashing of the draws,
the events, the queues, the rules, the loads and the figures are its own.
"""

import hashlib
import math
from dataclasses import dataclass, field
from typing import Any, Self

from labqueue.engine.calendars import MINUTE, since
from labqueue.engine.distributions import Distribution
from labqueue.engine.draws import KINDS, from_survival, survival_of, table_of
from labqueue.engine.resources import Resource
from labqueue.engine.routes import Route, Step
from labqueue.engine.seats import find_seats
from labqueue.engine.shop import Shop

MASK = 2**64 - 1
GOLDEN = 0x9E3779B97F4A7C15
TIME, FAIL, HOLD, GAP, DUE = range(5)
NEVER = 1 << 60


def mix(x: int) -> int:
    x &= MASK
    x = ((x ^ (x >> 30)) * 0xBF58476D1CE4E5B9) & MASK
    x = ((x ^ (x >> 27)) * 0x94D049BB133111EB) & MASK
    return x ^ (x >> 31)


def name_key(*words: object) -> int:
    return int.from_bytes(hashlib.blake2b("\0".join(map(str, words)).encode(), digest_size=8).digest(), "little")


def uniform(job: int, step: int, attempt: int, purpose: int) -> float:
    bits = mix(job + step + attempt * 0xD1342543DE82EF95 + purpose * 0xA0761D6478BD642F)
    return ((bits >> 12) + 0.5) * 2.0**-52


def parameters(dist: Distribution) -> tuple[float, float, float]:
    a, b, c = (*dist.numbers[:3], 0.0, 0.0, 0.0)[:3]
    return a, b, c


def survival(dist: Distribution, elapsed: float) -> float:
    if elapsed == 0:
        return 1.0
    if dist.kind == "empirical":
        return len([x for x in dist.numbers if x >= elapsed]) / len(dist.numbers)
    return survival_of(KINDS.index(dist.kind), *parameters(dist), elapsed)


def minutes(dist: Distribution, u: float, elapsed: float = 0.0) -> float:
    """The time (or the rest after `elapsed`) that a distribution gives for u."""
    if dist.kind == "mixture":
        shares = [w * survival(part, elapsed) for w, part in zip(dist.numbers, dist.parts, strict=True)]
        if sum(shares) <= 0:
            shares = list(dist.numbers)
        ends = []
        total = 0.0
        for share in shares:
            total += share
            ends.append(total / sum(shares))
        k = next((k for k, end in enumerate(ends[:-1]) if u < end), len(ends) - 1)
        low = ends[k - 1] if k else 0.0
        inner = min(max((u - low) / (ends[k] - low), 1e-16), 1.0 - 1e-16)
        return exact_minutes(dist.parts[k], inner, elapsed)
    cell = int(u * 1024)
    if dist.kind in ("exponential", "gamma", "lognormal") and elapsed == 0 and 0 < cell < 1023:
        at, slope = table_of(KINDS.index(dist.kind), parameters(dist)[1])[cell]
        return float(dist.numbers[0] * (at + slope * (u * 1024 - cell)))
    return exact_minutes(dist, u, elapsed)


def exact_minutes(dist: Distribution, u: float, elapsed: float) -> float:
    s = u * survival(dist, elapsed)
    if dist.kind == "empirical":
        n = len(dist.numbers)
        return max(dist.numbers[min(max(n - 1 - int(s * n), 0), n - 1)] - elapsed, 0.0)
    if dist.kind == "exponential" and elapsed > 0:
        return -dist.numbers[0] * math.log(u)
    return max(from_survival(KINDS.index(dist.kind), *parameters(dist), max(s, 1e-300)) - elapsed, 0.0)


def ticks(value: float) -> int:
    return int(min(value * 60e6 + 0.5, 5.7e17))


@dataclass
class Work:
    """One step of one job."""

    job: "Piece"
    index: int
    state: str = "blocked"
    tries: int = 0
    entered: int = 0
    place: "Unit | None" = None

    @property
    def step(self) -> Step:
        return self.job.route.steps[self.index]


@dataclass
class Piece:
    """One job."""

    key: int
    route: Route
    order: int
    due: int
    weight: float
    rank: float
    units: int
    released: int
    entry: int = -1
    held: bool = False
    works: list[Work] = field(default_factory=list)
    finished: int = NEVER

    def left(self) -> list[Step]:
        return [work.step for work in self.works if work.state != "done"]


@dataclass(eq=False)
class Unit:
    """A busy unit of a resource."""

    resource: int
    members: list[Work]
    began: int
    end: int
    station: str


@dataclass(order=True)
class End:
    time: int
    number: int
    what: Any = field(compare=False)


class Oracle:
    """One replication; `run` fills the figures."""

    def __init__(self, shop: Shop, seed: int, replication: int) -> None:
        self.shop = shop
        self.key = mix(mix((seed & MASK) + GOLDEN) + replication * GOLDEN)
        self.now = 0
        self.starts = 0
        self.ends: list[End] = []
        self.waiting: list[Work] = []
        self.busy: list[list[Unit]] = [[] for _ in shop.resources]
        self.spans = [self._spans(resource) for resource in shop.resources]
        self.clocks = [self._clocks(resource) for resource in shop.resources]
        self.pieces: list[Piece] = []
        self.came = [0] * len(shop.arrivals)
        self.next_arrival = [NEVER] * len(shop.arrivals)
        self.finished_units: list[Unit] = []
        self.waited = dict.fromkeys(shop.stations, 0)
        self.started = dict.fromkeys(shop.stations, 0)
        self.queueing = dict.fromkeys(shop.stations, 0)
        self.values: dict[str, list[int]] = {name: [] for name in shop.stations}
        self.loads = [[0, 0] for _ in shop.resources]
        self.flow = [[0, 0, 0] for _ in shop.arrivals]

    # calendars

    def _spans(self, resource: Resource) -> list[tuple[int, int]]:
        spans = self.shop.calendars[resource.calendar].spans(self.shop.now, -90 * 1440 * MINUTE, self.shop.horizon)
        for first, last in resource.away:
            a, b = since(self.shop.now, first), since(self.shop.now, last)
            spans = [p for x, y in spans for p in ((x, min(y, a)), (max(x, b), y)) if p[0] < p[1]] if a < b else spans
        return sorted(spans)

    def _clocks(self, resource: Resource) -> list[int]:
        if resource.load is None:
            return []
        calendar = self.shop.calendars[resource.calendar]
        spans = calendar.spans(self.shop.now, 0, self.shop.horizon)
        instants = calendar.clock_instants(resource.load.start_at, self.shop.now, self.shop.horizon)
        return [t for t in instants if any(a <= t < b for a, b in spans)]

    def open(self, resource: int) -> bool:
        return any(a <= self.now < b for a, b in self.spans[resource])

    @staticmethod
    def open_between(spans: list[tuple[int, int]], begin: int, end: int) -> int:
        return sum(max(min(b, end) - max(a, begin), 0) for a, b in spans)

    @staticmethod
    def add_open(spans: list[tuple[int, int]], begin: int, work: int) -> int:
        if work == 0:
            return begin
        for a, b in spans:
            room = b - max(a, begin)
            if room > 0:
                if work <= room:
                    return max(a, begin) + work
                work -= room
        return NEVER

    # rules

    def order(self, work: Work) -> tuple[Any, ...]:
        station = work.step.station
        assert station is not None
        return (self.rule_key(self.shop.stations[station], work), work.entered, work.job.order, work.index)

    def rule_key(self, rule: str, work: Work) -> float:
        job = work.job
        due = math.inf if job.due >= NEVER else float(job.due)
        if rule == "edd":
            return due
        if rule == "weight":
            return -job.weight
        if rule == "rank":
            return job.rank
        if rule == "fifo":
            return 0.0
        mean_work = sum(int(step.minutes.mean * MINUTE + 0.5) for step in job.left())
        left = due - self.now
        if rule == "slack":
            return (left - mean_work) / len(job.left())
        if rule == "cr":
            return left / max(mean_work, 0.06)
        steps = [s for route in self.shop.routes.values() for s in route.steps if s.station == work.step.station]
        mean = sum(s.minutes.mean for s in steps) / len(steps)
        weight = math.log(job.weight) if job.weight else -math.inf
        slack = max(left - mean_work, 0.0) / 60e6
        return slack / (3 * max(mean, 1e-9)) + (math.log(max(work.step.minutes.mean, 1e-9)) - weight)

    # flow of jobs

    def number(self) -> int:
        self.starts += 1
        return self.starts

    def draw(self, work: Work, elapsed: float = 0.0) -> int:
        u = uniform(work.job.key, name_key("step", work.step.name), work.tries, TIME)
        return ticks(minutes(work.step.minutes, u, elapsed))

    def enable(self, work: Work, since_when: int) -> None:
        if work.job.held:
            work.state = "held"
        elif work.step.station is None:
            work.state, work.tries = "running", work.tries + 1
            self.ends.append(End(self.now + self.draw(work), self.number(), work))
        else:
            work.state, work.entered = "waiting", since_when
            self.waiting.append(work)

    def admit(self, job: Piece, since_when: int) -> None:
        for work in job.works:
            if work.state == "blocked" and all(job.works[i].state == "done" for i in work.step.after):
                self.enable(work, since_when)

    def leave(self, work: Work) -> None:
        self.waiting.remove(work)
        station = work.step.station
        assert station is not None
        self.queueing[station] += max(self.now - max(work.entered, self.shop.warm_up), 0)

    def finish_step(self, work: Work) -> None:
        job = work.job
        p = work.step.fail_probability
        if p > 0 and uniform(job.key, name_key("step", work.step.name), work.tries, FAIL) < p:
            self.go_back(work)
            return
        work.state = "done"
        if all(other.state == "done" for other in job.works):
            job.finished = self.now
            if job.entry >= 0 and self.now >= self.shop.warm_up:
                figures = self.flow[job.entry]
                figures[0] += self.now - job.released
                figures[1] += 1
                figures[2] += self.now > job.due
            return
        for other in job.works:
            if work.index in other.step.after and all(job.works[i].state == "done" for i in other.step.after):
                self.enable(other, self.now)

    def go_back(self, failed: Work) -> None:
        job = failed.job
        failed.state = "blocked"
        redo = {failed.step.back_to}
        for _ in job.works:
            redo |= {w.index for w in job.works if redo & set(w.step.after)}
        for index in sorted(redo):
            work = job.works[index]
            if work.state == "waiting":
                self.leave(work)
            if work.state == "running":
                self.break_off(work)
            work.state = "blocked"
        self.enable(job.works[failed.step.back_to], self.now)

    def break_off(self, work: Work) -> None:
        self.ends = [end for end in self.ends if end.what is not work]
        for resource, units in enumerate(self.busy):
            for unit in list(units):
                if work in unit.members:
                    unit.members.remove(work)
                    if self.shop.resources[resource].load is None:
                        self.ends = [end for end in self.ends if end.what is not unit]
                        self.free(unit)

    def free(self, unit: Unit) -> None:
        self.busy[unit.resource].remove(unit)
        unit.end = self.now
        self.finished_units.append(unit)

    # starting work

    def occupy(self, resource: int, members: list[Work], work: int) -> None:
        r = self.shop.resources[resource]
        end = self.add_open(self.spans[resource], self.now, work) if r.pauses else self.now + work
        station = members[0].step.station
        assert station is not None
        unit = Unit(resource, members, self.now, end, station)
        self.busy[resource].append(unit)
        self.ends.append(End(end, self.number(), unit))

    def seat(self, work: Work) -> None:
        self.leave(work)
        work.state, work.tries = "running", work.tries + 1
        station = work.step.station
        assert station is not None
        if self.now >= self.shop.warm_up:
            self.waited[station] += self.now - work.entered
            self.started[station] += 1
            self.values[station].append(self.now - work.entered)

    def hand_out(self) -> None:
        for number, resource in enumerate(self.shop.resources):
            while len(self.busy[number]) < resource.count and self.open(number):
                if not (self.start_load(number) if resource.load else self.start_step(number)):
                    break

    def start_step(self, number: int) -> bool:
        for station in self.shop.resources[number].stations:
            queue = [work for work in self.waiting if work.step.station == station]
            if queue:
                work = min(queue, key=self.order)
                self.seat(work)
                self.occupy(number, [work], self.draw(work))
                return True
        return False

    def start_load(self, number: int) -> bool:
        resource = self.shop.resources[number]
        load = resource.load
        assert load is not None
        for station in resource.stations:
            queue = sorted((work for work in self.waiting if work.step.station == station), key=self.order)
            for first in queue:
                family = [work for work in queue if work.step.family == first.step.family]
                if first is family[0] and self.may_start(number, family):
                    room = load.capacity
                    taken = []
                    for work in family:
                        if work.job.units <= room:
                            room -= work.job.units
                            taken.append(work)
                            self.seat(work)
                    if self.now >= self.shop.warm_up:
                        self.loads[number][0] += 1
                        self.loads[number][1] += load.capacity - room
                    self.occupy(number, taken, self.draw(taken[0]))
                    return True
        return False

    def may_start(self, number: int, family: list[Work]) -> bool:
        load = self.shop.resources[number].load
        assert load is not None
        fitting = [work.job.units for work in family if work.job.units <= load.capacity]
        if not fitting:
            return False
        if sum(fitting) >= load.capacity or self.now in self.clocks[number]:
            return True
        if load.wait_minutes is None:
            return False
        return self.now - min(work.entered for work in family) >= int(load.wait_minutes * MINUTE + 0.5)

    # the day

    def set_up(self) -> None:
        shop = self.shop
        for order, given in enumerate(shop.jobs):
            released = since(shop.now, given.released)
            due = NEVER if given.due is None else since(shop.now, given.due)
            rank = math.inf if given.rank is None else given.rank
            key = mix(self.key ^ name_key("job", given.id))
            job = Piece(key, shop.routes[given.route], order, due, given.weight, rank, given.units, released)
            job.works = [Work(job, i) for i in range(len(job.route.steps))]
            for i in given.done:
                job.works[i].state = "done"
            if all(work.state == "done" for work in job.works):
                job.finished = 0
            self.pieces.append(job)
        self.seat_running()
        for given, job in zip(shop.jobs, self.pieces, strict=True):
            if job.released <= 0:
                self.release(job, given.hold, given.hold_since, given.ready)
        for entry in range(len(shop.arrivals)):
            self.expect(entry)

    def seat_running(self) -> None:
        shop = self.shop
        loads: dict[int, Unit] = {}
        for seat in find_seats(shop.jobs, shop.routes, shop.resources, shop.calendars, shop.now):
            work = self.pieces[seat.job].works[seat.step]
            work.state, work.tries = "running", 1
            begin = since(shop.now, seat.since)
            if seat.load in loads:
                loads[seat.load].members.append(work)
            elif seat.resource < 0:
                self.ends.append(End(self.draw(work, -begin / MINUTE), self.number(), work))
            else:
                elapsed = -begin
                if shop.resources[seat.resource].pauses:
                    elapsed = self.open_between(self.spans[seat.resource], begin, 0)
                self.occupy(seat.resource, [work], self.draw(work, elapsed / MINUTE))
                if seat.load >= 0:
                    loads[seat.load] = self.busy[seat.resource][-1]

    def release(self, job: Piece, hold: Distribution | None, hold_since: Any, ready: Any) -> None:
        if hold is not None:
            job.held = True
            elapsed = 0.0 if hold_since is None else -since(self.shop.now, hold_since) / MINUTE
            self.ends.append(
                End(self.now + ticks(minutes(hold, uniform(job.key, 0, 0, HOLD), elapsed)), self.number(), job)
            )
        self.admit(job, self.now if ready is None or job.released > 0 else since(self.shop.now, ready))

    def arrival_key(self, entry: int) -> int:
        route = self.shop.arrivals[entry].route
        occurrence = [a.route for a in self.shop.arrivals[:entry]].count(route)
        return mix(mix(self.key ^ name_key("arrivals", route, occurrence)) + self.came[entry] * GOLDEN)

    def expect(self, entry: int) -> None:
        given = self.shop.arrivals[entry]
        gap = ticks(minutes(given.between, uniform(self.arrival_key(entry), 0, 0, GAP)))
        spans = self._spans(Resource("", (), given.calendar))
        self.next_arrival[entry] = self.add_open(spans, self.now, gap)

    def arrive(self, entry: int) -> None:
        given = self.shop.arrivals[entry]
        key = self.arrival_key(entry)
        due = NEVER if given.due is None else self.now + ticks(minutes(given.due, uniform(key, 0, 0, DUE)))
        route = self.shop.routes[given.route]
        job = Piece(key, route, len(self.pieces), due, given.weight, math.inf, given.units, self.now, entry)
        job.works = [Work(job, i) for i in range(len(route.steps))]
        self.pieces.append(job)
        self.came[entry] += 1
        self.expect(entry)
        self.admit(job, self.now)

    def next_time(self) -> int:
        shop = self.shop
        times = [end.time for end in self.ends] + self.next_arrival
        times += [job.released for job in self.pieces[: len(shop.jobs)]]
        times += [a for spans in self.spans for a, _ in spans] + [t for clocks in self.clocks for t in clocks]
        for resource in shop.resources:
            if resource.load is not None and resource.load.wait_minutes is not None:
                wait = int(resource.load.wait_minutes * MINUTE + 0.5)
                times += [work.entered + wait for work in self.waiting if work.step.station in resource.stations]
        return min((t for t in times if t > self.now), default=NEVER)

    def handle(self) -> None:
        """All events of this instant, ends first and in the order of their starts."""
        first = True
        while True:
            due = sorted(end for end in self.ends if end.time == self.now)
            if due:
                self.end(due[0])
                continue
            if not first:
                return
            first = False
            for given, job in zip(self.shop.jobs, self.pieces, strict=False):
                if job.released == self.now > 0:
                    self.release(job, given.hold, given.hold_since, given.ready)
            for entry in range(len(self.next_arrival)):
                while self.next_arrival[entry] == self.now:
                    self.arrive(entry)

    def end(self, end: End) -> None:
        self.ends.remove(end)
        if isinstance(end.what, Piece):
            end.what.held = False
            for work in end.what.works:
                if work.state == "held":
                    self.enable(work, self.now)
        elif isinstance(end.what, Work):
            self.finish_step(end.what)
        else:
            self.free(end.what)
            for work in list(end.what.members):
                if work in end.what.members and work.state == "running":
                    end.what.members.remove(work)
                    self.finish_step_of_load(end.what, work)

    def finish_step_of_load(self, unit: Unit, work: Work) -> None:
        before = list(unit.members)
        self.finish_step(work)
        unit.members = [member for member in before if member.state == "running"]

    def run(self) -> Self:
        self.set_up()
        while self.now <= self.shop.horizon:
            self.handle()
            self.hand_out()
            if not any(end.time == self.now for end in self.ends):
                self.now = self.next_time()
        self.now = self.shop.horizon
        for work in list(self.waiting):
            self.leave(work)
        return self

    # figures

    def completions(self) -> list[int]:
        return [job.finished for job in self.pieces[: len(self.shop.jobs)]]

    def units(self) -> list[Unit]:
        return self.finished_units + [unit for units in self.busy for unit in units]

    def busy_at(self, station: str) -> int:
        return sum(self.worked(unit) for unit in self.units() if unit.station == station)

    def busy_of(self, resource: int) -> int:
        return sum(self.worked(unit) for unit in self.units() if unit.resource == resource)

    def worked(self, unit: Unit) -> int:
        begin, end = max(unit.began, self.shop.warm_up), min(unit.end, self.shop.horizon)
        return self.open_between(self.spans[unit.resource], begin, end)
