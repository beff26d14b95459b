"""Queues under a rule that looks at the clock: groups of waiting steps whose order among themselves never changes.

slack: jobs with equally many steps left are in the order of d - W. cr: jobs with equal mean work left are in the order
of d. atc: jobs with equal w/p are in the order of d - W as long as that lies ahead; once it is past they are equal, and
form a late group. So each group is a heap, and only the first of each are compared by their keys at this instant.
"""

import math
from typing import Any

from labqueue.engine.blocks import free_block, larger_block, length_of, new_block
from labqueue.engine.jit import helper, rare
from labqueue.engine.queues import settle, sink, sooner
from labqueue.engine.rules import key_in_group
from labqueue.engine.state import (
    ATC,
    CR,
    NEVER,
    SLACK,
    State,
    group_at,
    hint_at,
    job_at,
    member_at,
    op_at,
    queue_at,
    station_at,
    step_at,
    terms_at,
    waiter_at,
)


@helper
def group_value(s: State, rule: int, step: int) -> float:
    """What the steps of a group have in common."""
    job = step_at(s, step).job
    j = job_at(s, job)
    if rule == SLACK:
        return float(j.left)
    if rule == CR:
        return max(float(j.work), 0.06)
    return float(op_at(s, step_at(s, step).op).log_minutes - terms_at(s, job).log_weight)


@rare
def join_group(s: State, queue: int, step: int) -> None:
    """Put a step into the group it belongs to, which is begun if there is none."""
    rule = station_at(s, queue_at(s, queue).station).rule
    value = group_value(s, rule, step)
    j = job_at(s, step_at(s, step).job)
    key = NEVER if j.due >= NEVER else int(j.due if rule == CR else j.due - j.work)
    if rule == ATC and (value == math.inf or key <= s.now):
        add(s, find_group(s, queue, value, 1), step, step_at(s, step).mark)
        return
    hint = hint_at(s, step_at(s, step).op)
    g = group_at(s, hint.to)
    # what lies beyond s.groups is left from an earlier replication
    if not (hint.to < s.groups and g.queue == queue and g.value == value and not g.late):
        hint.to = find_group(s, queue, value, 0)
    add(s, hint.to, step, key)


@helper
def add(s: State, group: int, step: int, key: int) -> None:
    """Put a step into a group."""
    g = group_at(s, group)
    if g.size == length_of(g.block):
        larger_block(s, g)
    settle(s, g.first, g.size, key, step)
    g.size += 1
    g.key = waiter_at(s, g.first).key
    member_at(s, step).to = group


@rare
def find_group(s: State, queue: int, value: float, late: int) -> int:
    """The group of a queue, which is begun if there is none."""
    q = queue_at(s, queue)
    group = q.group
    while group >= 0 and not (group_at(s, group).value == value and group_at(s, group).late == late):
        group = group_at(s, group).next
    if group < 0:
        group = new_group(s)
        g = group_at(s, group)
        g.value, g.late, g.next, g.queue = value, late, q.group, queue
        q.group = group
    return int(group)


@helper
def new_group(s: State) -> int:
    """An empty group that belongs to no queue yet."""
    group = s.free_group
    if group >= 0:
        s.free_group = group_at(s, group).next
    else:
        group = s.groups
        s.groups += 1
    g = group_at(s, group)
    g.size, g.block, g.first = 0, 0, new_block(s, 0)
    return int(group)


@rare
def take_from_groups(s: State, queue: int) -> int:
    """Take out the step to be served first; the queue is not empty."""
    q = queue_at(s, queue)
    station = station_at(s, q.station)
    atc = station.rule == ATC
    if atc:
        turn_late(s, queue)
    found = q.group
    least = math.inf
    group = found
    while group >= 0:
        g = group_at(s, group)
        # under atc the key is at least the value
        if not (atc and g.value > least):
            key = g.value if g.late else key_in_group(s, station.rule, g.key, g.value, station.three_means)
            if key < least or (key == least and sooner(s, first_step(s, group), first_step(s, found))):
                found, least = group, key
        group = g.next
    return take_first_of(s, found)


@helper
def first_step(s: State, group: int) -> int:
    """The step of a group that comes first."""
    return int(waiter_at(s, group_at(s, group).first).step)


@helper
def take_first_of(s: State, group: int) -> int:
    """Take out the first step of a group; returns it."""
    step = first_step(s, group)
    remove(s, group, 0)
    return step


@helper
def remove(s: State, group: int, place: int) -> None:
    """Take the step at a place out of a group, which ends if nothing is left of it."""
    g = group_at(s, group)
    g.size -= 1
    if g.size == 0:
        end_group(s, group)
        return
    if place < g.size:
        sink(s, g.first, g.size, place)
    g.key = waiter_at(s, g.first).key


@rare
def turn_late(s: State, queue: int) -> None:
    """Move the steps whose d - W is past to late groups, where they are served in the order of entry."""
    group = queue_at(s, queue).group
    while group >= 0:
        g = group_at(s, group)
        following = g.next
        value = g.value
        ripe = 0 if g.late else g.size
        while ripe > 0 and g.key <= s.now:
            step = take_first_of(s, group)
            add(s, find_group(s, queue, value, 1), step, step_at(s, step).mark)
            ripe -= 1
        group = following


@rare
def end_group(s: State, group: int) -> None:
    """Take an empty group out of its queue."""
    g = group_at(s, group)
    q = queue_at(s, g.queue)
    if q.group == group:
        q.group = g.next
    else:
        before = q.group
        while group_at(s, before).next != group:
            before = group_at(s, before).next
        group_at(s, before).next = g.next
    free_block(s, g.block, g.first)
    g.next, g.queue = s.free_group, -1
    s.free_group = group


@rare
def leave_group(s: State, step: int) -> None:
    """Take a step out of its group, wherever it stands."""
    group = member_at(s, step).to
    g: Any = group_at(s, group)
    for place in range(g.size):
        if waiter_at(s, g.first + place).step == step:
            remove(s, group, place)
            return
