"""A shop document as a SimPy program, written as one would write it by hand to be quick.

A process for each job (and for each branch of steps side by side), SimPy's resource with priorities for each station, a
process for each load. All that does not change is worked out before: a step is a tuple that holds its draw function.

It covers: one resource for each station, `fifo` and `edd`, everything of calendars, pauses, loads, joins, rework,
holds, work under way and arrivals. Not: `ready`, `hold_since`, and the ties of one instant (a unit is given to the
first that asks, where the engine waits for the end of the instant).
"""

import math
import random
from collections.abc import Generator
from itertools import count
from typing import Any

import simpy

from labqueue.engine.benchmark.draws import Draw, draw_of, rest
from labqueue.engine.benchmark.opening import hours_of_calendar
from labqueue.engine.benchmark.result import NotCovered, Result
from labqueue.engine.benchmark.simpy_furnace import Furnace, Visit
from labqueue.engine.benchmark.simpy_jobs import CompiledRoute, Job, Place
from labqueue.engine.benchmark.simpy_stations import FIRST, Station
from labqueue.engine.calendars import MINUTE, since
from labqueue.engine.jobs import Arrival
from labqueue.engine.seats import Seat, find_seats
from labqueue.engine.shop import Shop

Process = Generator[Any, Any, None]


class SimpyShop:
    """The program for one shop; `run` simulates one replication."""

    label = "SimPy"

    def __init__(self, shop: Shop) -> None:
        """Raises NotCovered where the shop uses what the program does not know."""
        _check_covered(shop)
        self.shop = shop
        self.random = random.Random()  # noqa: S311
        self.horizon, self.warm_up = shop.horizon_minutes, shop.warm_up_minutes
        self.places: dict[str, Station | Furnace] = {}
        for name, rule in shop.stations.items():
            for resource in shop.serving(name):
                self.places[name] = (Furnace if resource.load else Station)(shop, resource, rule)
        self.routes = {name: CompiledRoute(route, self.places, self.random) for name, route in shop.routes.items()}
        self.seats = find_seats(shop.jobs, shop.routes, shop.resources, shop.calendars, shop.now)
        self.holds = [None if job.hold is None else draw_of(self.random, job.hold) for job in shop.jobs]
        self.sources = [self._source_of(entry) for entry in shop.arrivals]

    def _source_of(self, entry: Arrival) -> tuple[CompiledRoute, Draw, Draw | None, Any, int]:
        due = None if entry.due is None else draw_of(self.random, entry.due)
        hours = hours_of_calendar(self.shop, self.shop.calendars[entry.calendar])
        return self.routes[entry.route], draw_of(self.random, entry.between), due, hours, entry.units

    def run(self, seed: int) -> Result:
        """Simulate one replication with its own random numbers."""
        self.random.seed(seed)
        self.env = simpy.Environment()
        self.serial = count(len(self.shop.jobs))
        self.pure_waits = 0
        self.completions = [math.inf] * len(self.shop.jobs)
        entries = len(self.shop.arrivals)
        self.flow, self.finished, self.late = [0.0] * entries, [0] * entries, [0] * entries
        for place in self.places.values():
            place.reset(self.env)
        self._set_up()
        self.env.run(math.nextafter(self.horizon, math.inf))
        places = self._places_in_order()
        waited = [place.waited if place else 0.0 for place in places]
        started = [place.started if place else 0 for place in places]
        return Result(self.completions, waited, started, self.pure_waits, self.flow, self.finished, self.late)

    def _places_in_order(self) -> list[Place]:
        return [self.places.get(name) for name in self.shop.stations]

    def _set_up(self) -> None:
        """Seat what runs, open and close, release the jobs, let work come."""
        shop, env = self.shop, self.env
        jobs = [self._job(number) for number in range(len(shop.jobs))]
        self._seat(jobs)
        for place in self.places.values():
            env.process(place.open_and_close())
            if isinstance(place, Furnace):
                env.process(place.watch_clock())
        starts = []
        for given, job in zip(shop.jobs, jobs, strict=True):
            begun = given.done | {running.step for running in given.running}
            ready = [step for step in job.route.able(given.done) if step not in begun]
            starts += [(job.released, job.key(step), job, step) for step in ready]
        for released, _, job, step in sorted(starts, key=lambda start: start[:2]):
            env.process(self.walk(job, step) if released <= 0 and job.held <= 0 else self.hold(job, step))
        for entry in range(len(shop.arrivals)):
            env.process(self.source(entry))

    def _job(self, number: int) -> Job:
        given = self.shop.jobs[number]
        route = self.routes[given.route]
        due = math.inf if given.due is None else since(self.shop.now, given.due) / MINUTE
        released = max(since(self.shop.now, given.released) / MINUTE, 0.0)
        job = Job(route, number, due, given.units, released, -1)
        draw = self.holds[number]
        job.held = released + (draw() if draw else 0.0)
        job.done = set(given.done)
        if len(job.done) == len(route.steps):
            self.completions[number] = 0.0
        return job

    def _seat(self, jobs: list[Job]) -> None:
        """The steps under way go on; those of one load end together."""
        loads: dict[int, list[Visit]] = {}
        for seat in self.seats:
            job = jobs[seat.job]
            place, _, draw, _, _ = job.route.steps[seat.step]
            if isinstance(place, Furnace):
                visit = self._visit(job, seat.step, place)
                visit.gone = True
                self.env.process(self.under_way(job, seat.step, visit.left, None, visit))
                if seat.load not in loads:
                    place.free -= 1
                    self.env.process(place.load(loads.setdefault(seat.load, []), self._rest(place, draw, seat)))
                loads[seat.load].append(visit)
                continue
            minutes = self._rest(place, draw, seat)
            request = place.units.request(priority=FIRST) if place else None
            end = self.env.timeout(place.finish(0.0, minutes) if place else minutes)
            self.env.process(self.under_way(job, seat.step, end, request, None))

    def _rest(self, place: Place, draw: Draw, seat: Seat) -> float:
        begin = since(self.shop.now, seat.since) / MINUTE
        return rest(draw, place.hours.between(begin, 0.0) if place is not None and place.pauses else -begin)

    def _visit(self, job: Job, at: int, furnace: Furnace) -> Visit:
        key = (job.due if furnace.edd else 0.0, self.env.now, job.order, at, next(self.serial))
        following = job.route.next[at]
        return Visit(
            self.env, key, job.key(following[0]) if following else (0.0, job.order, at), job.units, self._draw(job, at)
        )

    @staticmethod
    def _draw(job: Job, at: int) -> Draw:
        return job.route.steps[at][2]

    def source(self, entry: int) -> Process:
        """Jobs that come."""
        env = self.env
        route, gap, due_in, hours, units = self.sources[entry]
        while True:
            yield env.timeout(hours.over(env.now, gap()) - env.now)
            now = env.now
            job = Job(route, next(self.serial), now + due_in() if due_in else math.inf, units, now, entry)
            for step in route.able(job.done):
                env.process(self.walk(job, step))

    def hold(self, job: Job, at: int) -> Process:
        """A step that becomes able must wait for its job's release or the end of its hold."""
        job.active[at] = self.env.active_process
        try:
            yield self.env.timeout(max(job.held - self.env.now, 0.0))
        except simpy.Interrupt:
            return
        yield from self.walk(job, at)

    def under_way(self, job: Job, at: int, end: Any, request: Any, visit: Visit | None) -> Process:
        """A step that ran at now, and what comes after it."""
        place = job.route.steps[at][0]
        job.active[at] = self.env.active_process
        try:
            yield end
        except simpy.Interrupt:
            if isinstance(place, Furnace) and visit is not None:
                place.leave(visit, job.route.families[at])
            elif request is not None:
                request.resource.release(request)
            return
        if request is not None:
            request.resource.release(request)
        at = self.outcome(job, at)
        if at >= 0:
            yield from self.walk(job, at) if self.env.now >= job.held else self.hold(job, at)

    def walk(self, job: Job, at: int) -> Process:
        """Do one step after the other, beginning with step `at`, which is able."""
        env, chance, warm_up = self.env, self.random.random, self.warm_up
        route = job.route
        steps, linear = route.steps, route.linear
        last = len(steps)
        request: Any
        visit: Any
        request = visit = None
        if not linear:
            job.active[at] = env.active_process
        try:
            while True:
                place, batch, draw, fails, back = steps[at]
                if place is None:
                    self.pure_waits += 1
                    yield env.timeout(draw())
                elif batch:
                    visit = self._visit(job, at, place)
                    place.enter(visit, route.families[at])
                    yield visit.left
                else:
                    entered = env.now
                    request = place.units.request(job.due if place.edd else 0.0)
                    yield request
                    now = env.now
                    if now >= warm_up:
                        place.waited += now - entered
                        place.started += 1
                    minutes = draw()
                    broken = now + minutes > place.closes
                    yield env.timeout(place.hours.over(now, minutes) - now if broken else minutes)
                    place.units.release(request)
                if not linear:
                    at = self.outcome(job, at)
                    if at < 0:
                        return
                elif fails and chance() < fails:
                    at = back
                else:
                    at += 1
                    if at == last:
                        self.finish(job)
                        return
        except simpy.Interrupt:
            self.break_off(place, batch, request, visit, route.families[at])

    @staticmethod
    def break_off(place: Any, batch: bool, request: Any, visit: Any, family: str) -> None:
        """A step is to be done again while it waits or runs."""
        if batch:
            place.leave(visit, family)
        elif place is not None:
            request.cancel()
            place.units.release(request)

    def outcome(self, job: Job, at: int) -> int:
        """What this process does after step `at`: the step to go on with, or -1. Others may be begun or broken off."""
        _, _, _, fails, back = job.route.steps[at]
        process = job.active.pop(at, None)
        if fails and self.random.random() < fails:
            redone = job.route.redone[back]
            for step in [step for step in job.active if step in redone]:
                job.active.pop(step).interrupt()
            job.done -= redone
            job.active[back] = process
            return back
        job.done.add(at)
        if len(job.done) == len(job.route.steps):
            self.finish(job)
            return -1
        ready = [step for step in job.route.next[at] if job.route.after[step] <= job.done]
        for step in ready[1:]:
            self.env.process(self.walk(job, step) if self.env.now >= job.held else self.hold(job, step))
        if not ready:
            return -1
        job.active[ready[0]] = process
        return ready[0]

    def finish(self, job: Job) -> None:
        """A job is finished."""
        now = self.env.now
        if job.entry < 0:
            self.completions[job.order] = now
        elif now >= self.warm_up:
            self.flow[job.entry] += now - job.released
            self.finished[job.entry] += 1
            self.late[job.entry] += now > job.due


def _check_covered(shop: Shop) -> None:
    for name, rule in shop.stations.items():
        serving = shop.serving(name)
        if rule not in ("fifo", "edd"):
            raise NotCovered(f'stations.{name}.rule: "{rule}"')
        if len(serving) > 1 or any(len(resource.stations) > 1 for resource in serving):
            raise NotCovered(f"stations.{name}: its resource is not its own alone")
    for job in shop.jobs:
        if job.ready is not None or job.hold_since is not None:
            raise NotCovered(f'jobs "{job.id}": ready or hold_since')
