"""Ends of steps: a job goes on to its next steps, is finished, or goes back."""

from labqueue.engine.draws import FAIL, HOLD, NO_STEP, minutes_of, ticks, uniform
from labqueue.engine.events import set_timer
from labqueue.engine.jit import helper, rare
from labqueue.engine.state import (
    ABLE,
    BLOCKED,
    DONE,
    HELD,
    RUNNING,
    WAITING,
    State,
    able_at,
    completion_at,
    flow_at,
    job_at,
    link_at,
    op_at,
    resource_at,
    seated_at,
    slot_at,
    step_at,
    terms_at,
    unit_at,
)
from labqueue.engine.waiting import change_groups, enter, withdraw
from labqueue.engine.work import begin_waiting, free_unit, keep, next_start, stop_work


@helper
def make_able(s: State, step: int, since: int) -> None:
    """All that a step waits for is done: it enters its queue once the present event is handled."""
    place = s.ables
    s.ables = place + 1
    step_at(s, step).state = ABLE
    able_at(s, place).step = step
    able_at(s, place).since = since


@rare
def admit_able(s: State) -> None:
    """Admit the steps that have become able, if they are so still."""
    for place in range(s.ables):
        step = able_at(s, place).step
        if step_at(s, step).state == ABLE:
            admit(s, step, able_at(s, place).since)
    s.ables = 0


@helper
def admit(s: State, step: int, since: int) -> None:
    """A step that waits for no other: it enters its queue, or begins if it is pure waiting, unless the job is held."""
    x = step_at(s, step)
    if job_at(s, x.job).held:
        x.state = HELD
    elif op_at(s, x.op).station < 0:
        begin_waiting(s, step)
    else:
        enter(s, step, since)


@rare
def release(s: State, job: int) -> None:
    """A job comes into the shop: it is held, or its first steps become able."""
    j = job_at(s, job)
    now = s.now
    terms = terms_at(s, job)
    if terms.hold >= 0:
        j.held = 1
        minutes = minutes_of(s, terms.hold, uniform(j.key, NO_STEP, 0, HOLD))
        set_timer(s, now + ticks(minutes), next_start(s), -1 - job)
    since = min(terms.ready, now)
    for step in range(j.first, j.first + j.steps):
        if step_at(s, step).state == BLOCKED and step_at(s, step).pending == 0:
            make_able(s, step, since)


@rare
def end_hold(s: State, job: int) -> None:
    """The hold of a job ends: what waited for it becomes able."""
    j = job_at(s, job)
    j.held = 0
    for step in range(j.first, j.first + j.steps):
        if step_at(s, step).state == HELD:
            make_able(s, step, s.now)


@helper
def end_step(s: State, step: int) -> None:
    """A running step ends now: the job goes back, or on, or is finished."""
    x = step_at(s, step)
    op = op_at(s, x.op)
    j = job_at(s, x.job)
    if op.fail > 0.0 and uniform(j.key, op.key, x.tries, FAIL) < op.fail:
        go_back(s, step)
        return
    x.state = DONE
    j.left -= 1
    j.work -= op.mean
    if op.then >= 0:
        step_at(s, j.first + op.then).pending = 0
        admit(s, j.first + op.then, s.now)
    elif j.left == 0:
        finish(s, x.job)
    else:
        admit_followers(s, step)


@rare
def admit_followers(s: State, step: int) -> None:
    """A step is done, and several may follow it or wait for others."""
    op = op_at(s, step_at(s, step).op)
    if op.branches:
        change_groups(s, step_at(s, step).job)
    first = job_at(s, step_at(s, step).job).first
    for link in range(op.follow0, op.follow1):
        follower = first + link_at(s, link).to
        step_at(s, follower).pending -= 1
        if step_at(s, follower).pending == 0:
            admit(s, follower, s.now)


@helper
def end_unit(s: State, unit: int) -> None:
    """The work on a unit ends (it is off the tree): all its steps, in the order in which they were taken."""
    step = unit_at(s, unit).first
    unit_at(s, unit).first = -1
    free_unit(s, unit)
    if resource_at(s, unit_at(s, unit).resource).load:
        end_load(s, unit, step)
    else:
        end_step(s, step)


@rare
def end_load(s: State, unit: int, step: int) -> None:
    """A load ends, of which `step` is the first; one member that goes back may break off another."""
    while step >= 0:
        following = seated_at(s, step).next
        if step_at(s, step).state == RUNNING and seated_at(s, step).unit == unit:
            end_step(s, step)
        step = following


@rare
def finish(s: State, job: int) -> None:
    """The last step of a job is done; the place of an arrival becomes free for another."""
    now = s.now
    if job < s.jobs:
        completion_at(s, s.row * s.jobs + job).time = now
        return
    j = job_at(s, job)
    if now >= s.warm_up:
        figures = flow_at(s, s.batch_row * s.arrivals + j.arrival)
        flow = now - terms_at(s, job).released
        figures.flow += flow
        figures.finished += 1
        figures.late += now > j.due
        keep(s, s.stations + j.arrival, flow)
    slot_at(s, job - s.jobs).to = s.free_slot
    s.free_slot = job - s.jobs


@rare
def break_off(s: State, step: int) -> None:
    """A running step stops at once; in a load it drops out, and the load goes on."""
    unit = seated_at(s, step).unit
    step_at(s, step).mark = -1
    if unit < 0 or unit_at(s, unit).first < 0:
        return
    if not resource_at(s, unit_at(s, unit).resource).load:
        stop_work(s, unit)
        return
    before = -1
    member = unit_at(s, unit).first
    while member >= 0 and member != step:
        before = member
        member = seated_at(s, member).next
    if member < 0:
        return
    following = seated_at(s, member).next
    if before < 0:
        unit_at(s, unit).first = following
    else:
        seated_at(s, before).next = following
    if following < 0:
        unit_at(s, unit).last = before


@rare
def go_back(s: State, failed: int) -> None:
    """A step has failed: it, the step it goes back to and all that follow that one are done again."""
    op = op_at(s, step_at(s, failed).op)
    j = job_at(s, step_at(s, failed).job)
    step_at(s, failed).state = BLOCKED
    for link in range(op.redo0, op.redo1):
        step = j.first + link_at(s, link).to
        state = step_at(s, step).state
        if state == DONE:
            j.left += 1
            j.work += op_at(s, step_at(s, step).op).mean
        elif state == WAITING:
            withdraw(s, step)
        elif state == RUNNING:
            break_off(s, step)
        step_at(s, step).state = BLOCKED
    for link in range(op.redo0, op.redo1):
        step = j.first + link_at(s, link).to
        redone = op_at(s, step_at(s, step).op)
        pending = 0
        for before in range(redone.before0, redone.before1):
            pending += step_at(s, j.first + link_at(s, before).to).state != DONE
        step_at(s, step).pending = pending
    if op.branches:
        change_groups(s, step_at(s, failed).job)
    make_able(s, j.first + op.back, s.now)
    admit_able(s)
