"""Queues under a rule that looks at the clock: groups of waiting steps whose order among themselves never changes.

slack: jobs with equally many steps left are in the order of d - W. cr: jobs with equal mean work left are in the order
of d. atc: jobs with equal w/p are in the order of d - W as long as that lies ahead, and equal once it is past. So each
group is a heap (two for atc), and only the heads of the groups are compared by their keys at this instant.

The heaps are pairing heaps (Fredman, Sedgewick, Sleator and Tarjan 1986): a step is its own node, so that a group needs
no room of its own.
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
    hint_at,
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
def hang(s: State, step: int, before: int) -> None:
    """Note who stands before a node, if there is a node."""
    if step >= 0:
        leaf_at(s, step).before = before


@helper
def meld(s: State, a: int, b: int) -> int:
    """One heap of two that are not empty: the root that is served later becomes the first child of the other."""
    if earlier(leaf_at(s, b), leaf_at(s, a)):
        a, b = b, a
    child = leaf_at(s, a).child
    leaf_at(s, b).sibling = child
    hang(s, child, b)
    leaf_at(s, b).before = a
    leaf_at(s, a).child = b
    return a


@helper
def add(s: State, root: int, step: int) -> int:
    """A heap (root -1: empty) with one more step; returns the root."""
    n = leaf_at(s, step)
    n.child, n.sibling, n.before = -1, -1, -1
    return step if root < 0 else meld(s, root, step)


@rare
def without_root(s: State, root: int) -> int:
    """A heap without its root: its children in pairs, and then the pairs from the last to the first."""
    pairs = -1
    a = leaf_at(s, root).child
    while a >= 0:
        b = leaf_at(s, a).sibling
        if b < 0:
            following, pair = b, a
        else:
            following, pair = leaf_at(s, b).sibling, meld(s, a, b)
        leaf_at(s, pair).sibling = pairs
        pairs = pair
        a = following
    if pairs < 0:
        return -1
    found = pairs
    pairs = leaf_at(s, found).sibling
    while pairs >= 0:
        following = leaf_at(s, pairs).sibling
        found = meld(s, found, pairs)
        pairs = following
    leaf_at(s, found).sibling, leaf_at(s, found).before = -1, -1
    return found


@rare
def without(s: State, root: int, step: int) -> int:
    """A heap without one step, wherever it stands."""
    if step == root:
        return without_root(s, root)
    n = leaf_at(s, step)
    if leaf_at(s, n.before).child == step:
        leaf_at(s, n.before).child = n.sibling
    else:
        leaf_at(s, n.before).sibling = n.sibling
    hang(s, n.sibling, n.before)
    rest = without_root(s, step)
    return root if rest < 0 else meld(s, root, rest)


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
    j = job_at(s, step_at(s, step).job)
    group = group_of(s, queue, step, group_value(s, rule, step))
    g = group_at(s, group)
    n = leaf_at(s, step)
    n.key = math.inf if j.due >= NEVER else float(j.due if rule == CR else j.due - j.work)
    n.entered = step_at(s, step).mark
    n.tie = j.order * s.stride + (step - j.first)
    n.group = group
    if rule == ATC and (g.value == math.inf or n.key <= s.now):
        n.key = -math.inf
        g.late = add(s, g.late, step)
    else:
        set_early(s, g, add(s, g.early, step))


@helper
def set_early(s: State, g: Any, root: int) -> None:
    """The early ones of a group have a new first one."""
    g.early = root
    g.key = leaf_at(s, root).key if root >= 0 else math.inf


@helper
def group_of(s: State, queue: int, step: int, value: float) -> int:
    """The group of a queue with a value, begun if there is none: most often that of the last step of its kind."""
    hint = hint_at(s, step_at(s, step).op)
    g = group_at(s, hint.to)
    # what lies beyond s.groups is left from an earlier replication
    if hint.to < s.groups and g.queue == queue and g.value == value:
        return int(hint.to)
    q = queue_at(s, queue)
    group = q.group
    while group >= 0 and group_at(s, group).value != value:
        group = group_at(s, group).next
    if group < 0:
        group = new_group(s, queue, value, q.group)
        q.group = group
    hint.to = group
    return int(group)


@helper
def new_group(s: State, queue: int, value: float, following: int) -> int:
    """An empty group of a queue in front of `following`."""
    group = s.free_group
    if group >= 0:
        s.free_group = group_at(s, group).next
    else:
        group = s.groups
        s.groups += 1
    g = group_at(s, group)
    g.value, g.key, g.early, g.late, g.next, g.queue = value, math.inf, -1, -1, following, queue
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
            if g.key <= s.now:
                grow_late(s, g)
            if g.late >= 0 and (found < 0 or g.value < least or (g.value == least and sooner_of(s, g.late, found))):
                found, least = g.late, g.value
        if g.early >= 0:
            key = key_in_group(s, station.rule, g.key, g.value, station.three_means)
            if found < 0 or key < least or (key == least and sooner_of(s, g.early, found)):
                found, least = g.early, key
        group = g.next
    group = leaf_at(s, found).group
    g = group_at(s, group)
    if g.late == found:
        g.late = without_root(s, found)
    else:
        set_early(s, g, without_root(s, found))
    end_if_empty(s, queue, group)
    return found


@helper
def sooner_of(s: State, a: int, b: int) -> bool:
    """Whether of two waiting steps with equal keys now a comes first."""
    return sooner(leaf_at(s, a), leaf_at(s, b))


@rare
def grow_late(s: State, g: Any) -> None:
    """Move the steps of a group whose d - W is past to its late ones, who are served in the order of entry."""
    while g.early >= 0 and g.key <= s.now:
        step = g.early
        set_early(s, g, without_root(s, step))
        leaf_at(s, step).key = -math.inf
        g.late = add(s, g.late, step)


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
    g.next, g.queue = s.free_group, -1
    s.free_group = group


@rare
def leave_group(s: State, queue: int, step: int) -> None:
    """Take a step out of its group."""
    n = leaf_at(s, step)
    g = group_at(s, n.group)
    if n.key == -math.inf:
        g.late = without(s, g.late, step)
    else:
        set_early(s, g, without(s, g.early, step))
    end_if_empty(s, queue, n.group)
