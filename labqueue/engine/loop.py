"""The event loop: the compiled heart of the simulator, one call for a slice of replications."""

from typing import Any

import numpy as np

from labqueue.engine.coming import arrive
from labqueue.engine.draws import replication_key
from labqueue.engine.events import next_time, pop_timer, schedule, take_next
from labqueue.engine.flow import admit_able, end_hold, end_step, end_unit, release
from labqueue.engine.jit import helper, kernel, rare, trailing_zeros
from labqueue.engine.loads import hand_loads, strike_clock
from labqueue.engine.opening import close_books, open_shop, turn_page
from labqueue.engine.queues import best, earlier
from labqueue.engine.state import (
    FINE,
    NEVER,
    RUNNING,
    TOO_MANY_EVENTS,
    State,
    asked_at,
    calendar_at,
    free_at,
    hours_at,
    queue_at,
    release_at,
    resource_at,
    served_at,
    span_at,
    station_at,
    step_at,
    timer_at,
    waiter_at,
)
from labqueue.engine.waiting import take_first
from labqueue.engine.work import ONE, occupy, run_until, seat


@kernel
def simulate_slice(world: Any, first_world: Any, changing: Any, originals: Any, seed: Any, first: int, n: int) -> int:
    """Run `n` replications from number `first`; returns FINE or why one stopped, with its row in the world.

    `world` is an array of one WORLD that points to the other arrays; `changing` holds the 8-byte words of those that
    are put back to their `originals`, with the world itself, before each replication.
    """
    s = world[0]
    for row in range(n):
        logged = s.logged
        world[0] = first_world[0]
        for k in range(len(changing)):
            words = changing[k]
            original = originals[k]
            for i in range(len(original)):
                words[i] = original[i]
        s.logged = logged
        s.row = row
        s.batch_row = row * s.batches
        s.key = replication_key(seed, first + row)
        open_shop(s)
        run(s)
        if s.error != FINE:
            return int(s.error)
        close_books(s)
    return FINE


@helper
def run(s: State) -> None:
    """Handle events until the horizon: all of one instant first, then hand out work."""
    admit_able(s)
    if next_time(s) > 0 and s.error == FINE:
        hand_out(s)
    while s.error == FINE:
        now = next_time(s)
        if now > s.horizon:
            break
        s.now = now
        if now >= s.batch_end:
            turn_page(s)
        s.events += 1
        if s.events > s.most_events:
            s.error = TOO_MANY_EVENTS
        handle(s, take_next(s))
        if next_time(s) > now and s.error == FINE:
            hand_out(s)


@helper
def handle(s: State, leaf: int) -> None:
    """Handle the event of a leaf; what becomes able by it enters its queue."""
    if leaf < s.units_end:
        end_unit(s, leaf)
    elif leaf == s.waits_leaf:
        end_timer(s)
    else:
        handle_seldom(s, leaf)
        admit_able(s)


@rare
def end_timer(s: State) -> None:
    """A pure waiting step or a hold ends, unless it was broken off meanwhile."""
    stamp = timer_at(s, 0).rank
    step = pop_timer(s)
    if step < 0:
        end_hold(s, -1 - step)
        admit_able(s)
    elif step_at(s, step).state == RUNNING and step_at(s, step).mark == stamp:
        end_step(s, step)


@rare
def handle_seldom(s: State, leaf: int) -> None:
    """Releases, arrivals, openings and closings, and the times of loads."""
    if leaf == s.release_leaf:
        at = s.released
        s.released = at + 1
        time = release_at(s, at + 1).time if at + 1 < s.releases else NEVER
        schedule(s, leaf, time)
        release(s, release_at(s, at).job)
    elif leaf >= s.clock_leaf:
        strike_clock(s, leaf - s.clock_leaf)
    elif leaf >= s.timer_leaf:
        schedule(s, leaf, NEVER)
        resource = leaf - s.timer_leaf
        asked_at(s, resource >> 6).bits |= ONE << np.uint64(resource & 63)
    elif leaf >= s.arrival_leaf:
        arrive(s, leaf - s.arrival_leaf)
    else:
        open_or_close(s, leaf - s.calendar_leaf)


@rare
def open_or_close(s: State, calendar: int) -> None:
    """A calendar opens or closes, and with it the resources that keep it."""
    c = calendar_at(s, calendar)
    leaf = s.calendar_leaf + calendar
    if c.open:
        c.open, c.closes = 0, -1
        c.at += 1
        schedule(s, leaf, span_at(s, c.at).begin if c.at < c.end else NEVER)
        for word in range(s.words):
            free_at(s, word).bits &= ~hours_at(s, calendar * s.words + word).bits
        return
    c.open, c.closes = 1, span_at(s, c.at).end
    schedule(s, leaf, span_at(s, c.at).end)
    open_resources(s, calendar)


@rare
def open_resources(s: State, calendar: int) -> None:
    """The resources of a calendar that have a free unit may take work."""
    for word in range(s.words):
        bits = hours_at(s, calendar * s.words + word).bits
        while bits:
            resource = (word << 6) + int(trailing_zeros(bits))
            bit = bits & (~bits + ONE)
            bits ^= bit
            if resource_at(s, resource).free > 0:
                free_at(s, word).bits |= bit
                asked_at(s, word).bits |= bit


@helper
def hand_out(s: State) -> None:
    """Hand work to the free open resources that may have some, in file order."""
    for word in range(s.words):
        bits = free_at(s, word).bits & asked_at(s, word).bits
        asked_at(s, word).bits = ONE ^ ONE
        while bits:
            resource = (word << 6) + int(trailing_zeros(bits))
            bits &= bits - ONE
            if resource_at(s, resource).load:
                hand_loads(s, resource)
            else:
                hand_steps(s, resource)


@helper
def hand_steps(s: State, resource: int) -> None:
    """Start single steps on a resource as long as it has a free unit and one of its stations has work."""
    r = resource_at(s, resource)
    link = r.station0
    while r.free > 0 and link < r.station1 and s.error == FINE:
        queue = next_queue(s, served_at(s, link).to)
        if queue < 0:
            link += 1
            continue
        step = take_first(s, queue)
        unit = r.spare
        seat(s, step, unit)
        occupy(s, resource, unit, step)
        run_until(s, resource, unit, step_at(s, step).work)


@helper
def next_queue(s: State, station: int) -> int:
    """The queue of a station whose first job comes first, -1 if nothing waits."""
    t = station_at(s, station)
    if t.queue1 == t.queue0 + 1:
        return int(t.queue0) if queue_at(s, t.queue0).size > 0 else -1
    return next_of_several(s, station)


@rare
def next_of_several(s: State, station: int) -> int:
    """The same where families queue apart, for a resource that takes single jobs from them."""
    t = station_at(s, station)
    chosen = -1
    first = 0
    for queue in range(t.queue0, t.queue1):
        if queue_at(s, queue).size > 0:
            place = queue_at(s, queue).first + best(s, queue)
            if chosen < 0 or earlier(s, waiter_at(s, place), waiter_at(s, first)):
                chosen, first = queue, place
    return chosen
