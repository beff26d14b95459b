"""Batch resources: which family may start a load, what goes into it, and when to look again."""

import numpy as np

from labqueue.engine.draws import draw_work
from labqueue.engine.events import schedule
from labqueue.engine.jit import helper, rare
from labqueue.engine.queues import best, earlier, fill_gap, oldest, rise, take
from labqueue.engine.state import (
    NEVER,
    State,
    asked_at,
    clock_at,
    job_at,
    op_at,
    queue_at,
    resource_at,
    seated_at,
    served_at,
    station_at,
    step_at,
    unit_at,
    waiter_at,
    work_at,
)
from labqueue.engine.work import ONE, occupy, run_until, seat

MOST_ASIDE = 16
"""Waiters passed over one by one; where there are more, the queue is searched for one that fits."""


@rare
def hand_loads(s: State, resource: int) -> None:
    """Start loads on a resource as long as it has a free unit and a family that may start; then set its timer."""
    r = resource_at(s, resource)
    while r.free > 0:
        queue = choose_family(s, resource)
        if queue < 0:
            break
        start_load(s, resource, queue)
    if r.free > 0 and r.wait >= 0:
        schedule(s, r.timer, next_deadline(s, resource))


@rare
def choose_family(s: State, resource: int) -> int:
    """The queue to start, -1 if none may: of the first station that has one, the family whose first job comes first."""
    r = resource_at(s, resource)
    for link in range(r.station0, r.station1):
        station = station_at(s, served_at(s, link).to)
        chosen = -1
        first = 0
        for queue in range(station.queue0, station.queue1):
            if may_start(s, resource, queue):
                place = queue_at(s, queue).first + best(s, queue)
                if chosen < 0 or earlier(s, waiter_at(s, place), waiter_at(s, first)):
                    chosen = queue
                    first = place
        if chosen >= 0:
            return chosen
    return -1


@rare
def may_start(s: State, resource: int, queue: int) -> bool:
    """Whether a family may start now: at a start_at instant, or full, or its oldest has waited long enough."""
    r = resource_at(s, resource)
    q = queue_at(s, queue)
    if q.size == 0:
        return False
    units = q.units
    if station_at(s, q.station).uneven:
        units = fitting_units(s, queue, r.capacity)
        if units == 0:
            return False
    now = s.now
    return bool(r.clock_hit == now or units >= r.capacity or (r.wait >= 0 and now - oldest(s, queue) >= r.wait))


@rare
def fitting_units(s: State, queue: int, capacity: int) -> int:
    """The waiting units of the jobs that fit a load of `capacity` at all."""
    q = queue_at(s, queue)
    found = 0
    for place in range(q.first, q.first + q.size):
        units = job_at(s, step_at(s, waiter_at(s, place).step).job).units
        if units <= capacity:
            found += units
    return found


@rare
def start_load(s: State, resource: int, queue: int) -> None:
    """Fill a load in the order of the rule, passing over what does not fit; it lasts as its first member draws."""
    r = resource_at(s, resource)
    unit = r.spare
    room = r.capacity
    last = -1
    aside = 0
    while room >= s.least_units and queue_at(s, queue).size > 0:
        place = 0 if aside < MOST_ASIDE else next_fitting(s, queue, room)
        if place < 0:
            break
        units = job_at(s, step_at(s, waiter_at(s, queue_at(s, queue).first + place).step).job).units
        if units > room:
            set_aside(s, queue, place, aside)
            aside += 1
            continue
        step = take(s, queue, place)
        if aside > 0:
            close_gap(s, queue, aside)
        seat(s, step, unit)
        room -= units
        join_load(s, resource, unit, step, last)
        last = step
    put_back(s, queue, aside)
    if last >= 0 and s.now >= s.warm_up:
        figures = work_at(s, s.row * s.resources + resource)
        figures.loads += 1
        figures.units += r.capacity - room


@helper
def join_load(s: State, resource: int, unit: int, step: int, last: int) -> None:
    """Put a step into a load behind the `last` one; the first (last = -1) begins it."""
    seated_at(s, step).next = -1
    if last < 0:
        occupy(s, resource, unit, step)
        run_until(s, resource, unit, draw_work(s, step, op_at(s, step_at(s, step).op).dist, step_at(s, step).tries))
    else:
        seated_at(s, last).next = step
        unit_at(s, unit).last = step


@rare
def set_aside(s: State, queue: int, place: int, aside: int) -> None:
    """Move a waiter that does not fit out of the queue, to the place behind its end; `aside` others stand behind."""
    q = queue_at(s, queue)
    last = q.size - 1
    key, step = waiter_at(s, q.first + place).key, waiter_at(s, q.first + place).step
    q.size = last
    fill_gap(s, queue, last, place)
    w = waiter_at(s, q.first + last)
    w.key, w.step = key, step


@helper
def close_gap(s: State, queue: int, aside: int) -> None:
    """The queue has become shorter by one: the last of those set aside moves to the place behind its end."""
    q = queue_at(s, queue)
    gap, moved = waiter_at(s, q.first + q.size), waiter_at(s, q.first + q.size + aside)
    gap.key, gap.step = moved.key, moved.step


@helper
def put_back(s: State, queue: int, aside: int) -> None:
    """Those set aside, who stand behind the end of the queue, are part of it again."""
    q = queue_at(s, queue)
    for _ in range(aside):
        rise(s, q.first, q.size)
        q.size += 1


@rare
def next_fitting(s: State, queue: int, room: int) -> int:
    """The place of the first waiting job by the rule that has at most `room` units, -1 if there is none."""
    q = queue_at(s, queue)
    found = -1
    for place in range(q.size):
        w = waiter_at(s, q.first + place)
        fits = job_at(s, step_at(s, w.step).job).units <= room
        if fits and (found < 0 or earlier(s, w, waiter_at(s, q.first + found))):
            found = place
    return found


@rare
def next_deadline(s: State, resource: int) -> int:
    """The instant at which the oldest job of some family will have waited long enough, NEVER if nothing waits."""
    r = resource_at(s, resource)
    found = NEVER
    for link in range(r.station0, r.station1):
        station = station_at(s, served_at(s, link).to)
        for queue in range(station.queue0, station.queue1):
            if queue_at(s, queue).size > 0:
                deadline = oldest(s, queue) + r.wait
                if deadline > s.now:
                    found = min(found, deadline)
    return found


@rare
def strike_clock(s: State, resource: int) -> None:
    """A start_at instant of a resource: whatever waits may start now, if the resource is free."""
    r = resource_at(s, resource)
    r.clock_hit = s.now
    r.clock0 += 1
    leaf = s.clock_leaf + resource
    time = clock_at(s, r.clock0).time if r.clock0 < r.clock1 else NEVER
    schedule(s, leaf, time)
    asked_at(s, resource >> 6).bits |= ONE << np.uint64(resource & 63)
