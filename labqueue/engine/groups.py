"""Queues under a rule that looks at the clock: groups of waiting steps whose order among themselves never changes.

slack: jobs with equally many steps left are in the order of d - W. cr: jobs with equal mean work left are in the order
of d. atc: jobs with equal w/p are in the order of d - W as long as that lies ahead, and equal once it is past. So each
group is a heap (two for atc), and only the heads of the groups are compared by their keys at this instant.

The heaps are skew heaps (Sleator and Tarjan 1986): a step is its own node, so that a group needs no room of its own.
"""

import math
from typing import Any

from labqueue.engine.jit import helper, rare
from labqueue.engine.rules import key_in_group
from labqueue.engine.state import (
    ATC,
    CR,
    NEVER,
    SLACK,
    State,
    group_at,
    job_at,
    leaf_at,
    op_at,
    queue_at,
    station_at,
    step_at,
    terms_at,
)


@helper
def earlier(a: Any, b: Any) -> bool:
    """Whether leaf a is served before b of the same heap: by key, then by entry, then by order of jobs and steps."""
    if a.key != b.key:
        return bool(a.key < b.key)
    return sooner(a, b)


@helper
def sooner(a: Any, b: Any) -> bool:
    """Whether of two leaves with equal keys a comes first: by entry, then by order of jobs and steps."""
    return bool(a.entered < b.entered or (a.entered == b.entered and a.tie < b.tie))


@helper
def merge(s: State, a: int, b: int) -> int:
    """Merge two skew heaps; returns the root, -1 if both are empty."""
    if a < 0:
        return b
    if b < 0:
        return a
    if earlier(leaf_at(s, b), leaf_at(s, a)):
        a, b = b, a
    root = a
    while True:
        n = leaf_at(s, a)
        right = n.right
        n.right = n.left
        if right < 0:
            n.left = b
            return root
        if earlier(leaf_at(s, b), leaf_at(s, right)):
            right, b = b, right
        n.left = right
        a = right


@rare
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
    q = queue_at(s, queue)
    rule = station_at(s, q.station).rule
    j = job_at(s, step_at(s, step).job)
    value = group_value(s, rule, step)
    group = q.group
    while group >= 0 and group_at(s, group).value != value:
        group = group_at(s, group).next
    if group < 0:
        group = new_group(s, value, q.group)
        q.group = group
    n = leaf_at(s, step)
    n.key = math.inf if j.due >= NEVER else float(j.due if rule == CR else j.due - j.work)
    n.entered = step_at(s, step).mark
    n.tie = j.order * s.stride + (step - j.first)
    n.left, n.right, n.group = -1, -1, group
    g = group_at(s, group)
    if rule == ATC and (value == math.inf or n.key <= s.now):
        n.key = -math.inf
        g.late = merge(s, g.late, step)
    else:
        g.early = merge(s, g.early, step)


@helper
def new_group(s: State, value: float, following: int) -> int:
    """An empty group in front of `following`."""
    group = s.free_group
    if group >= 0:
        s.free_group = group_at(s, group).next
    else:
        group = s.groups
        s.groups += 1
    g = group_at(s, group)
    g.value, g.early, g.late, g.next = value, -1, -1, following
    return int(group)


@rare
def take_from_groups(s: State, queue: int) -> int:
    """Take out the step to be served first; the queue is not empty."""
    q = queue_at(s, queue)
    station = station_at(s, q.station)
    found = -1
    least = math.inf
    group = q.group
    while group >= 0:
        g = group_at(s, group)
        if station.rule == ATC:
            grow_late(s, g)
        for root in (g.late, g.early):
            if root >= 0:
                key = key_in_group(s, station.rule, leaf_at(s, root).key, g.value, station.three_means)
                if found < 0 or key < least or (key == least and sooner(leaf_at(s, root), leaf_at(s, found))):
                    found, least = root, key
        group = g.next
    n = leaf_at(s, found)
    g = group_at(s, n.group)
    if g.late == found:
        g.late = merge(s, n.left, n.right)
    else:
        g.early = merge(s, n.left, n.right)
    end_if_empty(s, queue, n.group)
    return found


@helper
def grow_late(s: State, g: Any) -> None:
    """Move the steps of a group whose d - W is past to its late ones, who are served in the order of entry."""
    while g.early >= 0 and leaf_at(s, g.early).key <= s.now:
        step = g.early
        n = leaf_at(s, step)
        g.early = merge(s, n.left, n.right)
        n.left, n.right, n.key = -1, -1, -math.inf
        g.late = merge(s, g.late, step)


@helper
def end_if_empty(s: State, queue: int, group: int) -> None:
    """Take an empty group out of its queue."""
    g = group_at(s, group)
    if g.early >= 0 or g.late >= 0:
        return
    q = queue_at(s, queue)
    if q.group == group:
        q.group = g.next
    else:
        before = q.group
        while group_at(s, before).next != group:
            before = group_at(s, before).next
        group_at(s, before).next = g.next
    g.next = s.free_group
    s.free_group = group


@rare
def leave_group(s: State, queue: int, step: int) -> None:
    """Take a step out of its group, wherever it stands in the heap."""
    group = leaf_at(s, step).group
    g = group_at(s, group)
    g.early = without(s, g.early, step)
    g.late = without(s, g.late, step)
    end_if_empty(s, queue, group)


@rare
def without(s: State, root: int, step: int) -> int:
    """A heap without one step: those before it are taken off and put back."""
    kept = -1
    while root >= 0 and root != step:
        n = leaf_at(s, root)
        following = merge(s, n.left, n.right)
        n.left, n.right = -1, -1
        kept = merge(s, kept, root)
        root = following
    if root == step:
        root = merge(s, leaf_at(s, step).left, leaf_at(s, step).right)
    return merge(s, kept, root)
