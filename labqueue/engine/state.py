"""What the kernel works on: arrays of records, one array for each kind of thing in the shop.

A compiled function is given one record, the WORLD, which holds the counters of the replication and the addresses of
all arrays; `job_at(s, 3)` is record 3 of the array of jobs.
"""

from typing import Any

import numpy as np

from labqueue.engine.calendars import FOREVER
from labqueue.engine.jit import accessor

NEVER = FOREVER
LAST = (1 << 63) - 1
"""A key after all others."""
UNKNOWN = -FOREVER
"""The oldest entry of a queue where it must be looked for anew."""
BLOCKED, ABLE, HELD, WAITING, RUNNING, DONE = range(6)
"""States of a step of a job; ABLE lasts only within one event."""
FIFO, EDD, SLACK, CR, ATC, WEIGHT, RANK = range(7)
FINE, TOO_MANY_EVENTS, TOO_MANY_JOBS, LOG_FULL, TOO_MANY_TIMERS, TOO_FEW_PLACES = range(6)
"""Why a replication stopped."""

I2, I4, I8, U8, F8 = "i2", "i4", "i8", "u8", "f8"


def record(**fields: str) -> np.dtype[np.void]:
    """A record type with aligned fields."""
    return np.dtype(list(fields.items()), align=True)


STEP = record(mark=I8, work=I8, job=I4, op=I4, tries=I4, pending=I2, state=I2)
"""A step of a job; `mark`: when it entered its queue, or (pure waiting) the number of its start.

`work`: the microseconds of its next try, drawn as it enters the queue, so that its start need not wait for them.
"""
SEATED = record(unit=I4, next=I4)
"""Where a running step sits: its unit (-1: pure waiting) and the next step in its load."""
JOB = record(
    due=I8, work=I8, key=U8, order=I8, first=I4, op=I4, steps=I4, left=I4, units=I4, held=I4, arrival=I4, unused=I4,
)  # fmt: skip
"""A job as it goes: `work` mean microseconds and `left` number of steps not yet done; `first` its STEP, `op` its OP."""
TERMS = record(weight_key=I8, rank_key=I8, log_weight=F8, released=I8, ready=I8, name=U8, hold=I4, unused=I4)
"""What was agreed of a job; seldom read. The keys are whole numbers in the order of the rule."""
OP = record(
    fail=F8, key=U8, mean=I8, station=I4, queue=I4, dist=I4, then=I4, branches=I4, back=I4, log_minutes=F8,
    follow0=I4, follow1=I4, before0=I4, before1=I4, redo0=I4, redo1=I4,
)  # fmt: skip
"""A step of a route. Ranges into `links`: who follows, who comes before, what is redone; as indexes in the route.

`then`: the one step that follows and waits for nothing else, -1 where it is not as simple as that.
"""
QUEUE = record(first=I8, size=I8, units=I8, oldest=I8, station=I4, group=I4)
"""A queue: one for each family at a load station, one for any other station; `first` its place in `heap`."""
WAITER = record(key=I8, step=I8)
"""A waiting step in the heap of its queue. Four children of a place stand in one line of the cache."""
GROUP = record(value=F8, key=I8, first=I4, size=I4, block=I4, late=I4, next=I4, queue=I4)
"""A group of waiting steps (see `groups`): `key` that of its first step; its block of `waiter` (see `blocks`) and how
many steps stand there; the next group of its queue (-1: none). `queue` is -1 while the group is not in use."""
STATION = record(
    rule=I2, loads=I2, singles=I2, uneven=I2, grouped=I2, unused=I2, queue0=I4, queue1=I4, three_means=F8, busy=I8,
    waiting=I8, waited=I8, starts=I8,
)  # fmt: skip
"""A station; the last four are its figures in microseconds, since the books were last written."""
RESOURCE = record(
    free=I4, spare=I4, station0=I4, station1=I4, load=I4, calendar=I4, pauses=I4, count=I4, busy=I8,
    wait=I8, capacity=I8, clock_hit=I8, timer=I4, clock0=I4, clock1=I4,
)  # fmt: skip
"""A resource: `spare` the first of its free UNITs; `clock0`…`clock1` its next start_at instants in `clocks`."""
UNIT = record(first=I4, last=I4, next=I4, resource=I4, station=I4)
"""One of `count`: the steps it works on, linked by SEATED.next."""
CALENDAR = record(closes=I8, at=I4, end=I4, open=I4)
"""`at` the SPAN that is open or opens next; `closes` its end if it is open, else before all time."""
SPAN = record(begin=I8, end=I8, before=I8)
"""An open span and the open time before it."""
ARRIVAL = record(
    weight_key=I8, log_weight=F8, key=U8, came=I8, calendar=I4, between=I4, due=I4, units=I4, op=I4, steps=I4
)  # fmt: skip
RUNNING_STEP = record(step=I4, dist=I4, resource=I4, joins=I4)
"""A step under way at now; `joins`: the step whose load it shares, or -1."""
RELEASE = record(time=I8, job=I4)
NODE = record(event=I8)
"""A node of the tree of events: the earliest event below it, as time << leaf_bits | leaf."""
TIMER = record(time=I8, rank=I8, step=I8)
"""A pure waiting step, or with step = -1 - job the end of a hold."""
ABLE_STEP = record(step=I8, since=I8)
LOGGED = record(value=I8, group=I8)


DIST = record(kind=I4, table=I4, a=F8, b=F8, c=F8, first=I4, count=I4, elapsed=F8, survival=F8)
"""A distribution: parameters a, b, c; `first`, `count` point into the pool of numbers (of parts, for a mixture).

`table` is its first CELL or -1. `elapsed` and `survival` = P(X >= elapsed) state the rest of a time that has already
lasted so long (0 and 1 if new).
"""
CELL = record(at=F8, slope=F8)
"""A cell of a quantile table: minutes = at + slope * fraction, for a mean of 1."""
NUMBER = record(value=F8)
INDEX = record(to=I4)
TIME = record(time=I8)
BITS = record(bits=U8)
START = record(number=I8)
"""The number of the start of what a unit works on: ends of one instant happen in the order of their starts."""
WAIT = record(waited=I8, starts=I8)
"""Figures by replication, batch and station."""
USE = record(busy=I8, waiting=I8)
"""Figures by replication and station, in microseconds."""
WORK = record(busy=I8, loads=I8, units=I8)
"""Figures by replication and resource."""
FLOW = record(flow=I8, finished=I8, late=I8)
"""Figures by replication, batch and entry of arrivals."""
COUNT = record(count="u4")

CHANGING = {
    "job": JOB, "step": STEP, "queue": QUEUE, "station": STATION, "resource": RESOURCE, "unit": UNIT,
    "calendar": CALENDAR, "arrival": ARRIVAL, "node": NODE, "slot": INDEX, "free": BITS, "asked": BITS, "block": INDEX,
}  # fmt: skip
"""Arrays put back to how they were at now before each replication. node: the tree of events; slot: the next free place
after each place of an arrival; free: resources that are open and have a free unit; asked: resources to be handed work
at this instant; block: the first free block of each class."""
SCRATCH = {
    "terms": TERMS, "seated": SEATED, "start": START, "waiter": WAITER, "group": GROUP, "member": INDEX, "timer": TIMER,
    "able": ABLE_STEP, "hint": INDEX,
}  # fmt: skip
FIGURES = {
    "completion": TIME, "wait": WAIT, "use": USE, "work": WORK, "flow": FLOW, "step_wait": TIME, "log": LOGGED,
    "bin": COUNT,
}  # fmt: skip
FIXED = {
    "serves": BITS, "hours": BITS, "op": OP, "link": INDEX, "dist": DIST, "cell": CELL,
    "pool": NUMBER, "span": SPAN, "served": INDEX, "clock": TIME, "release": RELEASE, "running": RUNNING_STEP,
}  # fmt: skip
"""Arrays that never change. serves: (stations, words) resources of a station; hours: (calendars, words) resources that
keep a calendar; clock: start_at instants."""
ARRAYS = {**CHANGING, **SCRATCH, **FIGURES, **FIXED}

COUNTERS = (
    "now", "horizon", "warm_up", "batch", "batch_end", "batch_row", "starts", "events", "most_events", "order", "row",
    "jobs", "steps", "stride", "stations", "batches", "queues", "resources", "arrivals", "releases", "runnings",
    "leaves", "leaf_bits", "latest", "soonest", "words", "units_end", "waits_leaf", "release_leaf", "calendar_leaf",
    "arrival_leaf", "timer_leaf", "clock_leaf", "released", "ables", "timers", "timer_room", "least_units", "groups",
    "free_group", "block_end", "spare_block", "free_slot", "logged", "log_room", "keeps_log", "bins", "error",
)  # fmt: skip
WORLD = record(key=U8, **dict.fromkeys(COUNTERS, I8), **dict.fromkeys(ARRAYS, I8))
"""Time, sizes and counters of one replication, and the addresses of all arrays."""

State = Any
"""In compiled code: a record of type WORLD."""

job_at = accessor(WORLD, "job", JOB)
step_at = accessor(WORLD, "step", STEP)
seated_at = accessor(WORLD, "seated", SEATED)
terms_at = accessor(WORLD, "terms", TERMS)
start_at = accessor(WORLD, "start", START)
queue_at = accessor(WORLD, "queue", QUEUE)
resource_at = accessor(WORLD, "resource", RESOURCE)
unit_at = accessor(WORLD, "unit", UNIT)
calendar_at = accessor(WORLD, "calendar", CALENDAR)
arrival_at = accessor(WORLD, "arrival", ARRIVAL)
node_at = accessor(WORLD, "node", NODE)
slot_at = accessor(WORLD, "slot", INDEX)
free_at = accessor(WORLD, "free", BITS)
asked_at = accessor(WORLD, "asked", BITS)
waiter_at = accessor(WORLD, "waiter", WAITER)
group_at = accessor(WORLD, "group", GROUP)
hint_at = accessor(WORLD, "hint", INDEX)
member_at = accessor(WORLD, "member", INDEX)
block_at = accessor(WORLD, "block", INDEX)
timer_at = accessor(WORLD, "timer", TIMER)
able_at = accessor(WORLD, "able", ABLE_STEP)
completion_at = accessor(WORLD, "completion", TIME)
wait_at = accessor(WORLD, "wait", WAIT)
use_at = accessor(WORLD, "use", USE)
work_at = accessor(WORLD, "work", WORK)
flow_at = accessor(WORLD, "flow", FLOW)
step_wait_at = accessor(WORLD, "step_wait", TIME)
log_at = accessor(WORLD, "log", LOGGED)
bin_at = accessor(WORLD, "bin", COUNT)
serves_at = accessor(WORLD, "serves", BITS)
hours_at = accessor(WORLD, "hours", BITS)
station_at = accessor(WORLD, "station", STATION)
op_at = accessor(WORLD, "op", OP)
link_at = accessor(WORLD, "link", INDEX)
dist_at = accessor(WORLD, "dist", DIST)
cell_at = accessor(WORLD, "cell", CELL)
pool_at = accessor(WORLD, "pool", NUMBER)
span_at = accessor(WORLD, "span", SPAN)
served_at = accessor(WORLD, "served", INDEX)
clock_at = accessor(WORLD, "clock", TIME)
release_at = accessor(WORLD, "release", RELEASE)
running_at = accessor(WORLD, "running", RUNNING_STEP)
