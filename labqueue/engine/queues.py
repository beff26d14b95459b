"""Queues before the stations, as heaps.

Where the rule looks at the clock, a heap would lose its order as time passes: at load stations it is put in order anew
when a load is to start; at all others the steps wait in groups instead (see `groups`).
"""

from typing import Any

from labqueue.engine.draws import draw_work
from labqueue.engine.jit import helper, ordered, rare
from labqueue.engine.rules import dynamic_key, is_static, static_key
from labqueue.engine.state import (
    NEVER,
    UNKNOWN,
    WAITING,
    State,
    asked_at,
    job_at,
    op_at,
    queue_at,
    serves_at,
    station_at,
    step_at,
    waiter_at,
)


@helper
def earlier(s: State, a: Any, b: Any) -> bool:
    """Whether waiter a is served before b: by key, then by entry, then by order of jobs and steps."""
    return bool(a.key < b.key or (a.key == b.key and sooner(s, a.step, b.step)))


@rare
def sooner(s: State, a: int, b: int) -> bool:
    """Whether of two waiting steps with equal keys a comes first: by entry, then by order of jobs and steps."""
    x, y = step_at(s, a), step_at(s, b)
    if x.mark != y.mark:
        return bool(x.mark < y.mark)
    if x.job != y.job:
        return bool(job_at(s, x.job).order < job_at(s, y.job).order)
    return bool(a < b)


@helper
def enqueue(s: State, step: int, entered: int) -> None:
    """Put a step into its queue and ask the resources of its station."""
    x = step_at(s, step)
    op = op_at(s, x.op)
    x.state = WAITING
    x.mark = entered
    queue = queue_at(s, op.queue)
    station = station_at(s, op.station)
    size = queue.size
    queue.size = size + 1
    station.waiting -= max(entered, s.warm_up)
    for word in range(s.words):
        asked_at(s, word).bits |= serves_at(s, op.station * s.words + word).bits
    if station.singles:
        x.work = draw_work(s, step, op.dist, x.tries + 1)
    if station.grouped:
        return
    settle(s, queue.first, size, static_key(s, station.rule, step), step)
    if station.loads:
        queue.units += job_at(s, x.job).units
        queue.oldest = min(queue.oldest, entered)


@helper
def settle(s: State, first: int, place: int, key: int, step: int) -> None:
    """Put a waiter into the gap at `place` of the heap that begins at `first`, or further up where it comes earlier."""
    while place > 0:
        parent = (place - 1) >> 2
        p = waiter_at(s, first + parent)
        if p.key < key or (p.key == key and sooner(s, p.step, step)):
            break
        w = waiter_at(s, first + place)
        w.key, w.step = p.key, p.step
        place = parent
    w = waiter_at(s, first + place)
    w.key, w.step = key, step


@helper
def rise(s: State, first: int, place: int) -> None:
    """Move the waiter at `place` up to where it belongs."""
    w = waiter_at(s, first + place)
    settle(s, first, place, w.key, w.step)


@helper
def first_of(s: State, a: int, b: int) -> int:
    """Which of two places of `waiter` is served first."""
    v, w = waiter_at(s, a), waiter_at(s, b)
    if v.key == w.key:
        return a if sooner(s, v.step, w.step) else b
    return a if v.key < w.key else b


@helper
def sink(s: State, first: int, size: int, place: int) -> None:
    """Move the gap at `place` down to the bottom, and the waiter that stands behind the end, at `size`, up into it.

    A waiter from the end belongs near the bottom, so that comparing it on the way down would be wasted (Wegener 1993).
    """
    child = 4 * place + 1
    while child < size:
        c = first + child
        if child + 3 < size:
            c = first_of(s, first_of(s, c, c + 1), first_of(s, c + 2, c + 3))
        else:
            for other in range(child + 1, size):
                c = first_of(s, c, first + other)
        v, w = waiter_at(s, c), waiter_at(s, first + place)
        w.key, w.step = v.key, v.step
        place = c - first
        child = 4 * place + 1
    moved = waiter_at(s, first + size)
    settle(s, first, place, moved.key, moved.step)


@helper
def best(s: State, queue: int) -> int:
    """The place in its queue of the step to be served first; the queue is not empty."""
    if not is_static(station_at(s, queue_at(s, queue).station).rule):
        put_in_order(s, queue)
    return 0


@rare
def put_in_order(s: State, queue: int) -> None:
    """Make a queue under a rule that looks at the clock a heap by the keys of this instant."""
    q = queue_at(s, queue)
    station = station_at(s, q.station)
    for place in range(q.size):
        w = waiter_at(s, q.first + place)
        w.key = ordered(dynamic_key(s, station.rule, w.step, station.three_means))
        rise(s, q.first, place)


@helper
def take(s: State, queue: int, place: int) -> int:
    """Take the step at `place` out of a queue that is a heap; returns the step."""
    q = queue_at(s, queue)
    station = station_at(s, q.station)
    step = waiter_at(s, q.first + place).step
    last = q.size - 1
    q.size = last
    fill_gap(s, queue, last, place)
    if station.loads:
        q.units -= job_at(s, step_at(s, step).job).units
        if step_at(s, step).mark == q.oldest:
            q.oldest = UNKNOWN if q.units > 0 else NEVER
    count_out(s, q.station)
    return int(step)


@helper
def count_out(s: State, station: int) -> None:
    """A step leaves a queue of a station: count the end of its waiting (its entry has been taken off)."""
    station_at(s, station).waiting += max(s.now, s.warm_up)


@helper
def fill_gap(s: State, queue: int, last: int, place: int) -> None:
    """Move the waiter at `last`, behind the end, into the gap at `place`."""
    if place < last:
        sink(s, queue_at(s, queue).first, last, place)


@rare
def oldest(s: State, queue: int) -> int:
    """The earliest entry into a queue, NEVER if it is empty; looked for anew only after that one has left."""
    q = queue_at(s, queue)
    if q.oldest == UNKNOWN:
        found = NEVER
        for place in range(q.first, q.first + q.size):
            found = min(found, step_at(s, waiter_at(s, place).step).mark)
        q.oldest = found
    return int(q.oldest)
