"""Work not yet ordered: jobs that come while the shop runs, each replication its own."""

import numpy as np

from labqueue.engine.draws import DUE, GAP, GOLDEN, NO_STEP, job_key, minutes_of, mix, ticks, uniform
from labqueue.engine.events import schedule
from labqueue.engine.flow import make_able
from labqueue.engine.hours import after_work
from labqueue.engine.jit import helper, rare
from labqueue.engine.state import (
    BLOCKED,
    LAST,
    NEVER,
    TOO_MANY_JOBS,
    State,
    arrival_at,
    job_at,
    op_at,
    slot_at,
    step_at,
    terms_at,
)


@helper
def coming_key(s: State, arrival: int) -> int:
    """The key of the next job of an entry; the gap before it, its due date and its steps are drawn with it."""
    a = arrival_at(s, arrival)
    key: int = mix(job_key(s.key, a.key) + np.uint64(a.came) * GOLDEN)
    return key


@rare
def expect(s: State, arrival: int) -> None:
    """Draw the gap to the next job of an entry, in open minutes of its calendar."""
    a = arrival_at(s, arrival)
    u = uniform(coming_key(s, arrival), NO_STEP, 0, GAP)
    gap = ticks(minutes_of(s, a.between, u))
    leaf = s.arrival_leaf + arrival
    schedule(s, leaf, after_work(s, a.calendar, s.now, gap))


@rare
def arrive(s: State, arrival: int) -> None:
    """A job comes: give it a place, release it and expect the next."""
    a = arrival_at(s, arrival)
    place = s.free_slot
    if place < 0:
        s.error = TOO_MANY_JOBS
        return
    s.free_slot = slot_at(s, place).to
    job = s.jobs + place
    j = job_at(s, job)
    now = s.now
    j.key = coming_key(s, arrival)
    j.due = NEVER
    if a.due >= 0:
        j.due = now + ticks(minutes_of(s, a.due, uniform(j.key, NO_STEP, 0, DUE)))
    j.order = s.order
    s.order += 1
    terms = terms_at(s, job)
    terms.weight_key, terms.rank_key, terms.log_weight, terms.released = a.weight_key, LAST, a.log_weight, now
    j.units, j.arrival, j.held = a.units, arrival, 0
    j.op, j.steps, j.left = a.op, a.steps, a.steps
    fill_steps(s, job)
    a.came += 1
    expect(s, arrival)


@helper
def fill_steps(s: State, job: int) -> None:
    """Nothing of the job is done yet; its first steps become able."""
    j = job_at(s, job)
    j.work = 0
    for k in range(j.steps):
        op = op_at(s, j.op + k)
        x = step_at(s, j.first + k)
        x.job, x.op, x.tries, x.mark, x.state = job, j.op + k, 0, -1, BLOCKED
        x.pending = op.before1 - op.before0
        j.work += op.mean
        if x.pending == 0:
            make_able(s, j.first + k, s.now)
