"""Starting work: a resource takes a step, draws its time and knows when it will be done."""

import numpy as np

from labqueue.engine.draws import draw_work
from labqueue.engine.events import begin, cancel, set_timer
from labqueue.engine.histogram import bin_of
from labqueue.engine.hours import after_work, worked
from labqueue.engine.jit import helper, rare
from labqueue.engine.state import (
    LOG_FULL,
    RUNNING,
    State,
    asked_at,
    bin_at,
    calendar_at,
    free_at,
    log_at,
    node_at,
    op_at,
    resource_at,
    seated_at,
    start_at,
    station_at,
    step_at,
    step_wait_at,
    unit_at,
)

ONE = np.uint64(1)


@helper
def next_start(s: State) -> int:
    """The number of this start: ends of one instant happen in the order of their starts."""
    s.starts += 1
    return int(s.starts)


@helper
def begin_waiting(s: State, step: int) -> None:
    """Begin a pure waiting step, which needs no resource."""
    x = step_at(s, step)
    x.tries += 1
    x.state = RUNNING
    seated_at(s, step).unit = -1
    x.mark = next_start(s)
    set_timer(s, s.now + draw_work(s, step, op_at(s, x.op).dist, x.tries), x.mark, step)


@helper
def keep(s: State, group: int, value: int) -> None:
    """Keep one wait or flow for the 95 % points: in the log, or where there are too many in the histogram."""
    if s.keeps_log:
        place = s.logged
        if place >= s.log_room:
            s.error = LOG_FULL
            return
        log_at(s, place).value = value
        log_at(s, place).group = group
        s.logged = place + 1
    else:
        bin_at(s, group * s.bins + bin_of(value)).count += 1


@helper
def seat(s: State, step: int, unit: int) -> None:
    """A waiting step becomes a running one on a unit; count how long it waited."""
    x = step_at(s, step)
    x.state = RUNNING
    seated_at(s, step).unit = unit
    x.tries += 1
    now = s.now
    if now < s.warm_up:
        return
    waited = now - x.mark
    station = op_at(s, x.op).station
    figures = station_at(s, station)
    figures.waited += waited
    figures.starts += 1
    if step < s.steps:
        step_wait_at(s, step).time += waited
    keep(s, station, waited)


@helper
def occupy(s: State, resource: int, unit: int, step: int) -> None:
    """Put a step on a free unit: the only one, or the first of a load."""
    r = resource_at(s, resource)
    u = unit_at(s, unit)
    r.spare = u.next
    r.free -= 1
    if r.free == 0:
        free_at(s, resource >> 6).bits &= ~(ONE << np.uint64(resource & 63))
    u.first = step
    u.last = step
    u.station = op_at(s, step_at(s, step).op).station
    seated_at(s, step).next = -1


@helper
def run_until(s: State, resource: int, unit: int, work: int) -> None:
    """Set the end of the work on a unit and count its busy time, which is known from now."""
    r = resource_at(s, resource)
    now = s.now
    end = now + work
    busy = work
    if end > calendar_at(s, r.calendar).closes or end > s.horizon or now < s.warm_up:
        if r.pauses:
            end = after_work(s, r.calendar, now, work)
        busy = worked(s, r.calendar, now, end)
    start_at(s, unit).number = next_start(s)
    begin(s, unit, end)
    station_at(s, unit_at(s, unit).station).busy += busy
    r.busy += busy


@helper
def free_unit(s: State, unit: int) -> None:
    """A unit has nothing more to do: its resource may take work again."""
    u = unit_at(s, unit)
    r = resource_at(s, u.resource)
    u.next = r.spare
    r.spare = unit
    r.free += 1
    if calendar_at(s, r.calendar).open:
        bit = ONE << np.uint64(u.resource & 63)
        free_at(s, u.resource >> 6).bits |= bit
        asked_at(s, u.resource >> 6).bits |= bit


@rare
def stop_work(s: State, unit: int) -> None:
    """Break off the work on a unit at once: the busy time counted ahead is taken back and the unit is free."""
    u = unit_at(s, unit)
    r = resource_at(s, u.resource)
    unworked = worked(s, r.calendar, s.now, node_at(s, s.leaves + unit).event >> s.leaf_bits)
    station_at(s, u.station).busy -= unworked
    r.busy -= unworked
    u.first = -1
    cancel(s, unit)
    free_unit(s, unit)
