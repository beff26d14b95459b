"""The calendar of coming events: a tournament tree over leaves, one leaf for each thing that has one next event."""

from typing import Any

from labqueue.engine.jit import helper, rare
from labqueue.engine.state import NEVER, TOO_MANY_TIMERS, State, node_at, start_at, timer_at


@helper
def next_time(s: State) -> int:
    """The time of the next event, beyond the horizon if there is none."""
    return int(s.soonest >> s.leaf_bits)


@helper
def event_of(s: State, leaf: int, time: int) -> int:
    """A leaf and its time as one number; at equal times the lower leaf is the lower number."""
    return int((min(time, s.latest) << s.leaf_bits) | leaf)


@helper
def play(s: State, leaf: int, event: int) -> int:
    """Set the next event of a leaf and play its matches up to the root; returns the event that wins."""
    node = leaf + s.leaves
    node_at(s, node).event = event
    while node > 1:
        event = min(event, node_at(s, node ^ 1).event)
        node >>= 1
        node_at(s, node).event = event
    return event


@helper
def schedule(s: State, leaf: int, time: int) -> None:
    """Set the next event of a leaf."""
    s.soonest = play(s, leaf, event_of(s, leaf, time))


@helper
def begin(s: State, leaf: int, time: int) -> None:
    """Set the next event of a leaf that has none: which event comes next is known before the matches are played."""
    event = event_of(s, leaf, time)
    s.soonest = min(s.soonest, event)
    play(s, leaf, event)


@helper
def cancel(s: State, leaf: int) -> None:
    """The leaf has no next event."""
    schedule(s, leaf, NEVER)


@helper
def take_next(s: State) -> int:
    """The leaf of the next event, at s.now; if it is the end of work on a unit, that is taken off the tree.

    Units have the lowest leaves. Where others end at the same instant, the one that was started first goes first.
    """
    leaf = s.soonest & (s.leaves - 1)
    if leaf < s.units_end:
        cancel(s, leaf)
        if next_time(s) == s.now:
            leaf = first_started(s, leaf)
    return int(leaf)


@rare
def first_started(s: State, leaf: int) -> int:
    """Of several ends at this instant, one of them taken off the tree, the one started first is taken instead."""
    found, least = leaf, start_at(s, leaf).number
    for unit in range(s.units_end):
        if node_at(s, s.leaves + unit).event >> s.leaf_bits == s.now and start_at(s, unit).number < least:
            found, least = unit, start_at(s, unit).number
    if s.timers > 0 and timer_at(s, 0).time == s.now and timer_at(s, 0).rank < least:
        found = s.waits_leaf
    if found != leaf:
        schedule(s, leaf, s.now)
        if found < s.units_end:
            cancel(s, found)
    return int(found)


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
        schedule(s, s.waits_leaf, time)


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
    schedule(s, s.waits_leaf, timer_at(s, 0).time)
    return int(found)
