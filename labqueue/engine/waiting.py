"""Entering and leaving the queues, whatever form they have."""

from labqueue.engine.groups import join_group, leave_group, take_from_groups
from labqueue.engine.jit import helper, rare
from labqueue.engine.queues import best, count_out, enqueue, take
from labqueue.engine.state import WAITING, State, job_at, op_at, queue_at, station_at, step_at, waiter_at


@helper
def enter(s: State, step: int, since: int) -> None:
    """A step begins to wait at its station; `since` is the instant from which its waiting counts."""
    op = op_at(s, step_at(s, step).op)
    enqueue(s, step, since)
    if station_at(s, op.station).grouped:
        join_group(s, op.queue, step)


@helper
def take_first(s: State, queue: int) -> int:
    """Take the step to be served first; the queue is not empty."""
    q = queue_at(s, queue)
    if not station_at(s, q.station).grouped:
        return take(s, queue, best(s, queue))
    q.size -= 1
    count_out(s, q.station)
    return take_from_groups(s, queue)


@rare
def withdraw(s: State, step: int) -> None:
    """Take a waiting step out of its queue without serving it."""
    queue = op_at(s, step_at(s, step).op).queue
    q = queue_at(s, queue)
    if station_at(s, q.station).grouped:
        q.size -= 1
        count_out(s, q.station)
        leave_group(s, step)
        return
    for place in range(q.size):
        if waiter_at(s, q.first + place).step == step:
            take(s, queue, place)
            return


@rare
def change_groups(s: State, job: int) -> None:
    """The work left of a job has changed: its waiting steps go to other groups."""
    j = job_at(s, job)
    for step in range(j.first, j.first + j.steps):
        x = step_at(s, step)
        if x.state == WAITING and station_at(s, op_at(s, x.op).station).grouped:
            leave_group(s, step)
            join_group(s, op_at(s, x.op).queue, step)
