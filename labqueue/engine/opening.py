"""The beginning and the end of a replication: the shop as it stands at now, and the books closed at the horizon."""

from labqueue.engine.coming import expect
from labqueue.engine.draws import draw_work, job_key
from labqueue.engine.events import set_timer
from labqueue.engine.flow import release
from labqueue.engine.jit import helper, rare
from labqueue.engine.state import (
    NEVER,
    RUNNING,
    State,
    completion_at,
    job_at,
    queue_at,
    resource_at,
    running_at,
    seated_at,
    station_at,
    step_at,
    terms_at,
    unit_at,
    use_at,
    wait_at,
    work_at,
)
from labqueue.engine.work import next_start, occupy, run_until


@rare
def open_shop(s: State) -> None:
    """The replication's keys, the work under way, the jobs already here and the first arrivals."""
    for job in range(s.jobs):
        j = job_at(s, job)
        j.key = job_key(s.key, terms_at(s, job).name)
        completion_at(s, s.row * s.jobs + job).time = 0 if j.left == 0 else NEVER
    for k in range(s.runnings):
        go_on(s, k)
    for job in range(s.jobs):
        if terms_at(s, job).released <= 0:
            release(s, job)
    for arrival in range(s.arrivals):
        expect(s, arrival)


@helper
def go_on(s: State, k: int) -> None:
    """Put one running step where it sits and draw the rest of its time."""
    given = running_at(s, k)
    x = step_at(s, given.step)
    x.tries = 1
    x.state = RUNNING
    place = seated_at(s, given.step)
    place.next = -1
    if given.resource < 0:
        place.unit = -1
        x.mark = next_start(s)
        set_timer(s, draw_work(s, given.step, given.dist, 1), x.mark, given.step)
    elif given.joins >= 0:
        place.unit = seated_at(s, given.joins).unit
        seated_at(s, unit_at(s, place.unit).last).next = given.step
        unit_at(s, place.unit).last = given.step
    else:
        place.unit = resource_at(s, given.resource).spare
        occupy(s, given.resource, place.unit, given.step)
        run_until(s, given.resource, place.unit, draw_work(s, given.step, given.dist, 1))


@rare
def close_books(s: State) -> None:
    """Count the time up to the horizon of those still waiting (when they came has already been taken off)."""
    for queue in range(s.queues):
        q = queue_at(s, queue)
        station_at(s, q.station).waiting += q.size * s.horizon
    write_waits(s)
    for station in range(s.stations):
        t, use = station_at(s, station), use_at(s, s.row * s.stations + station)
        use.busy, use.waiting = t.busy, t.waiting
    for resource in range(s.resources):
        work_at(s, s.row * s.resources + resource).busy = resource_at(s, resource).busy


@rare
def turn_page(s: State) -> None:
    """A batch of the measured time is over: write its waits and begin the next that holds this instant."""
    write_waits(s)
    batch = (s.now - s.warm_up) // s.batch
    s.batch_row = s.row * s.batches + batch
    s.batch_end = s.warm_up + (batch + 1) * s.batch


@rare
def write_waits(s: State) -> None:
    """Write the waits of this batch into the books."""
    for station in range(s.stations):
        t, figures = station_at(s, station), wait_at(s, s.batch_row * s.stations + station)
        figures.waited, figures.starts = t.waited, t.starts
        t.waited, t.starts = 0, 0
