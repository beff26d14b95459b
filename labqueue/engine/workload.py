"""Compiling the work: routes, open jobs with what is done and running, and arrivals, as arrays of records."""

import math
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from labqueue.engine.calendars import MINUTE, microseconds, since
from labqueue.engine.draws import name_key
from labqueue.engine.hall import Hours, is_grouped
from labqueue.engine.jobs import Job
from labqueue.engine.numbering import Numbers, Places, Records, column, records, table
from labqueue.engine.resources import CLOCK_RULES
from labqueue.engine.routes import Route, Step
from labqueue.engine.seats import Seat
from labqueue.engine.shop import Shop
from labqueue.engine.state import (
    ARRIVAL,
    BLOCKED,
    DONE,
    INDEX,
    JOB,
    LAST,
    NEVER,
    OP,
    RELEASE,
    RUNNING_STEP,
    STEP,
    TERMS,
)


def route_arrays(shop: Shop, places: Places, numbers: Numbers) -> dict[str, Any]:
    """The arrays `op` and `link`."""
    links: list[int] = []
    rows: list[dict[str, Any]] = []
    for route in shop.routes.values():
        branches = _regroups(shop, route)
        for i, step in enumerate(route.steps):
            follow = [k for k, other in enumerate(route.steps) if i in other.after]
            redo = route.followers(step.back_to) if step.back_to >= 0 else ()
            bounds: list[int] = []
            for numbers_of_steps in (follow, step.after, redo):
                bounds += [len(links), len(links) + len(numbers_of_steps)]
                links += numbers_of_steps
            names = ("follow0", "follow1", "before0", "before1", "redo0", "redo1")
            simple = len(follow) == 1 and len(route.steps[follow[0]].after) == 1 and not branches
            more = {"branches": branches, "then": follow[0] if simple else -1}
            rows.append(_op(step, places, numbers) | more | dict(zip(names, bounds, strict=True)))
    return {"op": table(rows, OP), "link": column(links, INDEX)}


def _regroups(shop: Shop, route: Route) -> bool:
    """Whether a step may wait under a rule that looks at the clock while another step of its job is done."""
    side_by_side = any(step.after != ((k - 1,) if k else ()) for k, step in enumerate(route.steps))
    rules = {shop.stations[step.station] for step in route.steps if step.station is not None}
    return side_by_side and not rules.isdisjoint(CLOCK_RULES)


def _op(step: Step, places: Places, numbers: Numbers) -> dict[str, Any]:
    mean = step.minutes.mean
    return {
        "fail": step.fail_probability,
        "log_minutes": math.log(max(mean, 1e-9)),
        "mean": microseconds(mean),
        "key": name_key("step", step.name),
        "station": -1 if step.station is None else places.stations[step.station],
        "queue": -1 if step.station is None else places.queue(step.station, step.family),
        "dist": numbers.add(step.minutes),
        "back": step.back_to,
    }


def job_arrays(shop: Shop, places: Places, numbers: Numbers, slots: int, stride: int) -> dict[str, Any]:
    """The arrays `job`, `terms` and `step`, with `slots` places of `stride` steps for arrivals, and `release`."""
    jobs: list[dict[str, Any]] = []
    steps: list[tuple[Any, ...]] = []
    for order, job in enumerate(shop.jobs):
        route = shop.routes[job.route]
        first_op = places.first_op[route.name]
        jobs.append(_job(shop, job, route, order, len(steps), first_op, numbers))
        steps += [_step(job, step, i, order, first_op + i) for i, step in enumerate(route.steps)]
    jobs += [{"ready": NEVER, "first": len(steps) + stride * k, "hold": -1} for k in range(slots)]
    job_array, terms = table(jobs, JOB), table(jobs, TERMS)
    step_array = np.zeros(len(steps) + stride * slots, dtype=STEP)
    step_array[: len(steps)] = records(steps, STEP)
    return {"job": job_array, "terms": terms, "step": step_array, "release": _releases(terms[: len(shop.jobs)])}


def _job(shop: Shop, job: Job, route: Route, order: int, first: int, op: int, numbers: Numbers) -> dict[str, Any]:
    left = [step for i, step in enumerate(route.steps) if i not in job.done]
    due = NEVER if job.due is None else min(since(shop.now, job.due), NEVER - 1)
    released = since(shop.now, job.released)
    ready = NEVER if released > 0 else 0 if job.ready is None else since(shop.now, job.ready)
    hold = -1
    if job.hold is not None:
        waited = 0.0 if job.hold_since is None else since(shop.now, job.hold_since) / -MINUTE
        hold = numbers.add(job.hold, waited)
    return {
        "due": due,
        "work": sum(microseconds(step.minutes.mean) for step in left),
        "order": order,
        "weight_key": in_order(-job.weight),
        "log_weight": math.log(job.weight) if job.weight else -math.inf,
        "rank_key": LAST if job.rank is None else in_order(job.rank),
        "released": released,
        "ready": ready,
        "name": name_key("job", job.id),
        "first": first,
        "op": op,
        "steps": len(route.steps),
        "left": len(left),
        "units": job.units,
        "arrival": -1,
        "hold": hold,
    }


def in_order(number: float) -> int:
    """A whole number of 64 bits for each finite number, in the same order, below LAST."""
    bits = int(np.float64(number + 0.0).view(np.int64))
    return bits if bits >= 0 else bits ^ ~(-1 << 63)


def _step(job: Job, step: Step, index: int, order: int, op: int) -> tuple[Any, ...]:
    pending = sum(before not in job.done for before in step.after)
    return (-1, 0, order, op, 0, pending, DONE if index in job.done else BLOCKED)


def _releases(terms: Records) -> Records:
    later = sorted((int(job["released"]), i) for i, job in enumerate(terms) if job["released"] > 0)
    return records(later, RELEASE)


def running_rows(shop: Shop, seats: Sequence[Seat], steps: Records, numbers: Numbers, hours: Hours) -> Records:
    """The steps under way in the order of their starts, each with the distribution of the rest of its time."""
    first_steps = np.searchsorted(steps["job"], np.arange(len(shop.jobs)))
    firsts: dict[int, int] = {}
    rows = []
    for seat in seats:
        number = int(first_steps[seat.job]) + seat.step
        joins = firsts.get(seat.load, -1) if seat.load >= 0 else -1
        firsts.setdefault(seat.load, number)
        minutes = shop.routes[shop.jobs[seat.job].route].steps[seat.step].minutes
        rows.append((number, numbers.add(minutes, _elapsed(shop, seat, hours)), seat.resource, joins))
    return records(rows, RUNNING_STEP)


def _elapsed(shop: Shop, seat: Seat, hours: Hours) -> float:
    """The minutes that a running step has lasted: open ones at a resource that pauses, else by the clock."""
    begin = since(shop.now, seat.since)
    if seat.resource < 0 or not shop.resources[seat.resource].pauses:
        return -begin / MINUTE
    spans = hours.spans[hours.number(shop.resources[seat.resource])]
    return sum(max(min(last, 0) - max(first, begin), 0) for first, last in spans) / MINUTE


def arrival_rows(shop: Shop, places: Places, numbers: Numbers, hours: Hours) -> Records:
    """The entries of work still to come; each keeps its luck when other entries are added."""
    rows = []
    for i, entry in enumerate(shop.arrivals):
        occurrence = sum(other.route == entry.route for other in shop.arrivals[:i])
        rows.append(
            {
                "weight_key": in_order(-entry.weight),
                "log_weight": math.log(entry.weight) if entry.weight else -math.inf,
                "key": name_key("arrivals", entry.route, occurrence),
                "calendar": hours.numbers[entry.calendar, ()],
                "between": numbers.add(entry.between),
                "due": -1 if entry.due is None else numbers.add(entry.due),
                "units": entry.units,
                "op": places.first_op[entry.route],
                "steps": len(shop.routes[entry.route].steps),
            }
        )
    return table(rows, ARRIVAL)


def expected_arrivals(shop: Shop, hours: Hours) -> float:
    """How many jobs will come within the horizon, on average."""
    total = 0.0
    for entry in shop.arrivals:
        spans = hours.spans[hours.numbers[entry.calendar, ()]]
        opened = sum(max(min(end, shop.horizon) - max(begin, 0), 0) for begin, end in spans)
        total += opened / MINUTE / entry.between.mean
    return total


def queue_rows(shop: Shop, places: Places, slots: int) -> tuple[list[tuple[int, ...]], int, int]:
    """The queues, each with room for every step that can wait in it; returns them with the room of all together.

    Those whose steps stand in groups have no room of their own; how many steps that can be is the third result.
    """
    room = [0] * len(places.queues)
    for route_name, count in _jobs_by_route(shop, slots).items():
        for step in shop.routes[route_name].steps:
            if step.station is not None:
                room[places.queue(step.station, step.family)] += count
    rows: list[tuple[int, ...]] = []
    first = 3  # so that the four children of a place stand in one line of the cache
    in_groups = 0
    for ((station, _), number), size in zip(places.queues.items(), room, strict=True):
        rows.append((first, 0, 0, NEVER, places.stations[station], -1))
        assert number == len(rows) - 1
        if is_grouped(shop, station):
            in_groups += size
        else:
            first += whole_lines(size + 1)
    return rows, first, in_groups


def whole_lines(waiters: int) -> int:
    """Room for so many waiters or a few more, in whole lines of the cache."""
    return -(-waiters // 4) * 4


def _jobs_by_route(shop: Shop, slots: int) -> dict[str, int]:
    """How many jobs of each route can be in the shop at once; any arrival may take any of the `slots`."""
    counts = dict.fromkeys(shop.routes, 0)
    for job in shop.jobs:
        counts[job.route] += 1
    for name in {entry.route for entry in shop.arrivals}:
        counts[name] += slots
    return counts


def longest_route(routes: Iterable[Route]) -> int:
    """The number of steps of the longest route, at least 1."""
    return max((len(route.steps) for route in routes), default=1)
