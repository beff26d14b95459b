"""The calendar of coming events: a tournament tree over leaves, one leaf for each thing that has one next event."""

from typing import Any

from labqueue.engine.jit import helper
from labqueue.engine.state import NEVER, TOO_MANY_TIMERS, State, node_at, timer_at


@helper
def schedule(s: State, leaf: int, time: int, rank: int) -> None:
    """Set the next event of a leaf and play its matches towards the root, as far as they change who wins."""
    node = leaf + s.leaves
    n = node_at(s, node)
    n.time = time
    n.rank = rank
    while node > 1:
        other = node_at(s, node ^ 1)
        if (other.time < time) | ((other.time == time) & (other.rank < rank)):
            time, rank, leaf = other.time, other.rank, other.leaf
        node >>= 1
        n = node_at(s, node)
        if (n.leaf == leaf) & (n.time == time) & (n.rank == rank):
            break
        n.time = time
        n.rank = rank
        n.leaf = leaf


@helper
def cancel(s: State, leaf: int) -> None:
    """The leaf has no next event."""
    schedule(s, leaf, NEVER, NEVER)


@helper
def move_timer(to: Any, source: Any) -> None:
    """Copy a timer."""
    to.time, to.rank, to.step = source.time, source.rank, source.step


@helper
def set_timer(s: State, time: int, rank: int, step: int) -> None:
    """Add the end of a pure waiting step or of a hold to the heap of timers, and show the earliest to the tree."""
    place = s.timers
    if place >= s.timer_room:
        s.error = TOO_MANY_TIMERS
        return
    s.timers = place + 1
    while place > 0:
        parent = (place - 1) >> 1
        p = timer_at(s, parent)
        if p.time < time or (p.time == time and p.rank < rank):
            break
        move_timer(timer_at(s, place), timer_at(s, parent))
        place = parent
    timer_at(s, place).time = time
    timer_at(s, place).rank = rank
    timer_at(s, place).step = step
    if place == 0:
        schedule(s, s.waits_leaf, time, rank)


@helper
def pop_timer(s: State) -> int:
    """Take the earliest timer off the heap; returns its step."""
    found = timer_at(s, 0).step
    size = s.timers - 1
    s.timers = size
    if size == 0:
        cancel(s, s.waits_leaf)
        return int(found)
    last = timer_at(s, size)
    place = 0
    child = 1
    while child < size:
        other = child + 1
        if other < size:
            a, b = timer_at(s, child), timer_at(s, other)
            if b.time < a.time or (b.time == a.time and b.rank < a.rank):
                child = other
        c = timer_at(s, child)
        if last.time < c.time or (last.time == c.time and last.rank < c.rank):
            break
        move_timer(timer_at(s, place), timer_at(s, child))
        place = child
        child = 2 * place + 1
    move_timer(timer_at(s, place), last)
    schedule(s, s.waits_leaf, timer_at(s, 0).time, timer_at(s, 0).rank)
    return int(found)
