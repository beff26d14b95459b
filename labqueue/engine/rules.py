"""Dispatch rules as numbers: the waiting step with the smallest key is served first."""

import math

from labqueue.engine.jit import helper
from labqueue.engine.state import ATC, CR, EDD, FIFO, NEVER, SLACK, WEIGHT, State, job_at, op_at, step_at, terms_at


@helper
def is_static(rule: int) -> bool:
    """Whether the order of two waiting steps never changes while they wait."""
    return rule not in (SLACK, CR, ATC)


@helper
def static_key(s: State, rule: int, step: int) -> int:
    """The key of a waiting step by a rule that does not look at the clock."""
    job = step_at(s, step).job
    if rule == EDD:
        return int(job_at(s, job).due)
    if rule == FIFO:
        return int(step_at(s, step).mark)
    if rule == WEIGHT:
        return int(terms_at(s, job).weight_key)
    return int(terms_at(s, job).rank_key)


@helper
def dynamic_key(s: State, rule: int, step: int, three_means: float) -> float:
    """The key of a waiting step now.

    slack (d - t - W) / n · cr (d - t) / W · atc the negative logarithm of (w/p) exp(-max(0, d - t - W) / (3 mean p))
    (Vepsalainen and Morton 1987); W and n are the mean work and the number of the job's steps not yet done.
    """
    job = step_at(s, step).job
    j = job_at(s, job)
    if j.due >= NEVER:
        return math.inf
    left = float(j.due - s.now)
    if rule == SLACK:
        return (left - float(j.work)) / float(j.left)
    if rule == CR:
        return left / max(float(j.work), 0.06)
    slack = max(left - float(j.work), 0.0) / 60e6
    return float(slack / three_means + (op_at(s, step_at(s, step).op).log_minutes - terms_at(s, job).log_weight))


@helper
def key_in_group(s: State, rule: int, key: int, value: float, three_means: float) -> float:
    """The key now of a step that stands in a group by `key`, d or d - W; `value` is what the group has in common."""
    if key >= NEVER:
        return math.inf
    left = float(key - s.now)
    if rule == ATC:
        return max(left, 0.0) / 60e6 / three_means + value
    return left / value
