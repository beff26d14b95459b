"""Queues before the stations, as heaps.

Where the rule looks at the clock, a heap would lose its order as time passes: at load stations it is put in order anew
when a load is to start; at all others the steps wait in groups instead (see `groups`).
"""

from typing import Any

from labqueue.engine.jit import helper, rare
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
    use_at,
    waiter_at,
)


@helper
def earlier(a: Any, b: Any) -> bool:
    """Whether waiter a is served before b: by key, then by entry, then by order of jobs and steps."""
    if a.key != b.key:
        return bool(a.key < b.key)
    return bool(a.entered < b.entered or (a.entered == b.entered and a.tie < b.tie))


@helper
def move_waiter(to: Any, source: Any) -> None:
    """Copy a waiter."""
    to.key, to.entered, to.tie, to.step = source.key, source.entered, source.tie, source.step


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
    use_at(s, s.row * s.stations + op.station).waiting -= max(entered, s.warm_up)
    for word in range(s.words):
        asked_at(s, word).bits |= serves_at(s, op.station * s.words + word).bits
    if station.grouped:
        return
    new = waiter_at(s, queue.first + size)
    new.key = static_key(s, station.rule, x.job)
    new.entered = entered
    new.tie = job_at(s, x.job).order * s.stride + (step - job_at(s, x.job).first)
    new.step = step
    if is_static(station.rule):
        rise(s, queue.first, size)
    if station.loads:
        queue.units += job_at(s, x.job).units
        queue.oldest = min(queue.oldest, entered)


@helper
def rise(s: State, first: int, place: int) -> None:
    """Move the waiter at `place` of the heap that begins at `first` up to where it belongs."""
    key, entered, tie = (
        waiter_at(s, first + place).key,
        waiter_at(s, first + place).entered,
        waiter_at(s, first + place).tie,
    )
    step = waiter_at(s, first + place).step
    while place > 0:
        parent = (place - 1) >> 1
        p = waiter_at(s, first + parent)
        if p.key < key or (p.key == key and (p.entered < entered or (p.entered == entered and p.tie < tie))):
            break
        move_waiter(waiter_at(s, first + place), p)
        place = parent
    w = waiter_at(s, first + place)
    w.key, w.entered, w.tie, w.step = key, entered, tie, step


@helper
def sink(s: State, first: int, size: int, place: int) -> None:
    """Move the waiter that stands behind the end, at `size`, into the gap at `place` and down to where it belongs."""
    moved = waiter_at(s, first + size)
    child = 2 * place + 1
    while child < size:
        if child + 1 < size and earlier(waiter_at(s, first + child + 1), waiter_at(s, first + child)):
            child += 1
        if earlier(moved, waiter_at(s, first + child)):
            break
        move_waiter(waiter_at(s, first + place), waiter_at(s, first + child))
        place = child
        child = 2 * place + 1
    move_waiter(waiter_at(s, first + place), moved)


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
        w.key = dynamic_key(s, station.rule, w.step, station.three_means)
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
    use_at(s, s.row * s.stations + station).waiting += max(s.now, s.warm_up)


@helper
def fill_gap(s: State, queue: int, last: int, place: int) -> None:
    """Move the waiter at `last`, behind the end, into the gap at `place`."""
    q = queue_at(s, queue)
    if place == 0 < last:
        sink(s, q.first, last, 0)
    elif place < last:
        refill(s, q.first, last, place)


@rare
def refill(s: State, first: int, last: int, place: int) -> None:
    """Fill a gap inside a heap with its last waiter, which may have to go down or up."""
    sink(s, first, last, place)
    rise(s, first, place)


@rare
def oldest(s: State, queue: int) -> int:
    """The earliest entry into a queue, NEVER if it is empty; looked for anew only after that one has left."""
    q = queue_at(s, queue)
    if q.oldest == UNKNOWN:
        found = NEVER
        for place in range(q.first, q.first + q.size):
            found = min(found, waiter_at(s, place).entered)
        q.oldest = found
    return int(q.oldest)
