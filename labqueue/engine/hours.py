"""Arithmetic in open time: when work begun now ends, and how much open time lies between two instants."""

from labqueue.engine.jit import helper
from labqueue.engine.state import NEVER, State, calendar_at, span_at


@helper
def open_before(s: State, calendar: int, time: int) -> int:
    """Open microseconds of a calendar from its first span up to `time`, an instant not before now."""
    c = calendar_at(s, calendar)
    at = c.at
    while at < c.end and span_at(s, at).end <= time:
        at += 1
    if at == c.end:
        last = span_at(s, at - 1)
        return int(last.before + last.end - last.begin)
    span = span_at(s, at)
    return int(span.before + max(time - span.begin, 0))


@helper
def after_work(s: State, calendar: int, time: int, work: int) -> int:
    """The instant at which `work` open microseconds after now are over; NEVER if the calendar ends before."""
    c = calendar_at(s, calendar)
    if work == 0:
        return time
    at = c.at
    if at == c.end:
        return NEVER
    span = span_at(s, at)
    begin = max(span.begin, time)
    if work <= span.end - begin:
        return int(begin + work)
    target = span.before + (begin - span.begin) + work
    while at < c.end and span_at(s, at).before + span_at(s, at).end - span_at(s, at).begin < target:
        at += 1
    if at == c.end:
        return NEVER
    return int(span_at(s, at).begin + target - span_at(s, at).before)


@helper
def worked(s: State, calendar: int, begin: int, end: int) -> int:
    """Open microseconds between two instants, counted within the measured time only."""
    first = max(begin, s.warm_up)
    last = min(end, s.horizon)
    if first >= last:
        return 0
    return open_before(s, calendar, last) - open_before(s, calendar, first)
