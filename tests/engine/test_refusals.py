"""Each refusal: one line that names the place and says what is wrong there."""

from typing import Any

import pytest

from labqueue.engine import Shop, ShopError
from tests.engine.shops import Document, document, job, step


def changed(path: str, value: Any) -> Document:
    """A good shop with one value changed, put in or (where the value is ...) taken away."""
    doc = document(
        stations={"bench": {}, "oven": {}},
        resources={
            "hand": {"stations": ["bench"], "calendar": "day"},
            "oven": {"stations": ["oven"], "calendar": "day", "load": {"capacity": 4, "start_at": ["16:00"]}},
        },
        routes={
            "r": [
                step("a", "bench", 10),
                step("b", "oven", {"lognormal": {"mean": 10, "sd": 5}}),
                step("c", "bench", 5, fail={"probability": 0.1, "back_to": "a"}),
            ]
        },
        jobs=[
            job("1", running={"step": "a", "since": "2026-03-02T07:00:00+00:00"}),
            job("2", done=["a"], hold_minutes=10, units=2),
        ],
        arrivals=[{"route": "r", "calendar": "day", "between_minutes": 30}],
    )
    Shop.from_dict(doc)
    *parents, last = path.split("/")
    place: Any = doc
    for key in parents:
        place = place[int(key) if isinstance(place, list) else key]
    where: Any = int(last) if isinstance(place, list) else last
    if value is ...:
        del place[where]
    else:
        place[where] = value
    return doc


@pytest.mark.parametrize(
    ("path", "value", "line"),
    [
        ("colour", 1, "colour: unknown key"),
        ("now", ..., "now: is missing"),
        ("now", "2026-03-02T08:00:00", 'now: "2026-03-02T08:00:00" needs an offset from UTC such as -05:00'),
        ("now", "Monday", "now: must be an instant in ISO 8601"),
        ("now", "0001-03-02T08:00:00Z", "now: must lie between the years 1900 and 2300"),
        ("jobs/1/due", "9999-12-31T23:59:00-12:00", "jobs[1].due: must lie between the years 1900 and 2300"),
        ("jobs/1/rank", 10**400, "jobs[1].rank: must be a finite number"),
        ("jobs/1/weight", float("nan"), "jobs[1].weight: must be a finite number"),
        ("horizon_minutes", ..., "horizon_minutes: is missing"),
        ("horizon_minutes", 0, "horizon_minutes: must be above 0"),
        ("horizon_minutes", "long", "horizon_minutes: must be a finite number"),
        ("horizon_minutes", 1e9, "horizon_minutes: must be at most 1e+08 minutes"),
        ("warm_up_minutes", 10_000, "warm_up_minutes: must be below horizon_minutes (10000), not 10000"),
        ("warm_up_minutes", -1, "warm_up_minutes: must be at least 0, not -1"),
        ("calendars", [], "calendars: must be an object {…}"),
        ("calendars/day/time_zone", "Mars/Olympus", 'calendars.day.time_zone: no time zone "Mars/Olympus"'),
        ("calendars/day/time_zone", ..., "calendars.day.time_zone: is missing"),
        ("calendars/day/week/mon", [["12:00", "08:00"]], "calendars.day.week.mon[0]: must end after it begins"),
        (
            "calendars/day/week/mon",
            [["8", "12:00"]],
            "calendars.day.week.mon[0][0]: must be a clock time such as 08:00",
        ),
        (
            "calendars/day/week/mon",
            [["08:00", "24:01"]],
            "calendars.day.week.mon[0][1]: must be a clock time of 00:00 to",
        ),
        ("calendars/day/week/monday", [], "calendars.day.week.monday: unknown key"),
        ("calendars/day/days", {"3 March": []}, "calendars.day.days.3 March: must be a date such as 2026-12-25"),
        ("calendars/always/always", "yes", "calendars.always.always: must be true or false"),
        ("calendars/always/week", {}, "calendars.always.week: a calendar that is always open has none"),
        ("stations/bench/rule", "lifo", 'stations.bench.rule: no rule "lifo"'),
        ("stations/bench/colour", 1, "stations.bench.colour: unknown key"),
        ("resources/hand/stations", ["bensh"], 'resources.hand.stations[0]: no station "bensh"'),
        (
            "resources/hand/stations",
            ["bench", "bench"],
            'resources.hand.stations[1]: the station "bench" is named twice',
        ),
        ("resources/hand/calendar", "noon", 'resources.hand.calendar: no calendar "noon"'),
        ("resources/hand/count", -1, "resources.hand.count: must be at least 0, not -1"),
        ("resources/hand/count", 1.5, "resources.hand.count: must be a whole number, not 1.5"),
        ("resources/hand/count", 0, 'routes.r[0].station: no resource serves the station "bench"'),
        ("resources/hand", ..., 'routes.r[0].station: no resource serves the station "bench"'),
        ("resources/hand/pauses", 1, "resources.hand.pauses: must be true or false"),
        (
            "resources/hand/away",
            [["2026-03-02T10:00:00Z", "2026-03-02T09:00:00Z"]],
            "resources.hand.away[0]: ends before it begins",
        ),
        ("resources/hand/away", [["2026-03-02T10:00:00Z"]], "resources.hand.away[0]: must be two instants"),
        ("resources/oven/load/capacity", 0, "resources.oven.load.capacity: must be at least 1, not 0"),
        ("resources/oven/load/capacity", ..., "resources.oven.load.capacity: is missing"),
        ("resources/oven/load/capacity", 1, 'jobs[1].units: 2 units fit no load of the station "oven"'),
        ("resources/oven/load/wait_minutes", -5, "resources.oven.load.wait_minutes: must be at least 0, not -5"),
        (
            "resources/oven/load/start_at",
            ["17:00"],
            "resources.oven.load.start_at[0]: the resource's calendar is never open",
        ),
        ("routes/r", [], "routes.r: needs at least one step"),
        ("routes/r/2/station", "bensh", 'routes.r[2].station: no station "bensh"'),
        ("routes/r/2/station", ..., "routes.r[2].station: is missing"),
        ("routes/r/2/step", "a", 'routes.r[2].step: the step "a" is named twice'),
        ("routes/r/2/after", ["d"], 'routes.r[2].after[0]: no step "d"'),
        ("routes/r/2/after", ["a", "a"], 'routes.r[2].after[1]: the step "a" is named twice'),
        ("routes/r/0/after", ["c"], 'routes.r[0].after: a circle: step "a" waits for itself'),
        ("routes/r/0/after", ["a"], 'routes.r[0].after: a circle: step "a" waits for itself'),
        ("routes/r/2/fail/probability", 1, "routes.r[2].fail.probability: must be below 1, or the job never finishes"),
        ("routes/r/2/fail/probability", 1.5, "routes.r[2].fail.probability: must be below 1"),
        ("routes/r/2/fail/probability", -0.1, "routes.r[2].fail.probability: must be at least 0, not -0.1"),
        ("routes/r/2/fail/back_to", "z", 'routes.r[2].fail.back_to: no step "z"'),
        ("routes/r/0/fail", {"probability": 0.1, "back_to": "c"}, 'routes.r[0].fail.back_to: "c" does not lie before'),
        ("routes/r/0/minutes", -1, "routes.r[0].minutes: must be at least 0, not -1"),
        ("routes/r/0/minutes", True, "routes.r[0].minutes: must be a finite number"),
        ("routes/r/0/minutes", {"normal": 1}, 'routes.r[0].minutes: no distribution "normal"'),
        ("routes/r/0/minutes", {}, "routes.r[0].minutes: must name exactly one distribution"),
        ("routes/r/0/minutes", {"exponential": {"mean": 0}}, "routes.r[0].minutes.exponential.mean: must be above 0"),
        ("routes/r/0/minutes", {"exponential": {"rate": 1}}, "routes.r[0].minutes.exponential.rate: unknown key"),
        ("routes/r/0/minutes", {"erlang": {"mean": 1, "k": 0}}, "routes.r[0].minutes.erlang.k: must be at least 1"),
        (
            "routes/r/0/minutes",
            {"lognormal": {"mean": 1, "sd": -1}},
            "routes.r[0].minutes.lognormal.sd: must be at least 0",
        ),
        ("routes/r/0/minutes", {"gamma": {"mean": 1}}, "routes.r[0].minutes.gamma.sd: is missing"),
        (
            "routes/r/0/minutes",
            {"triangular": [3, 2, 4]},
            "routes.r[0].minutes.triangular: must be [low, mode, high], in",
        ),
        ("routes/r/0/minutes", {"uniform": [3]}, "routes.r[0].minutes.uniform: must be [low, high]"),
        (
            "routes/r/0/minutes",
            {"empirical": []},
            "routes.r[0].minutes.empirical: must list at least one observed time",
        ),
        ("routes/r/0/minutes", {"mixture": [[0, 5]]}, "routes.r[0].minutes.mixture: needs at least one part"),
        ("routes/r/0/minutes", {"mixture": [[-1, 5]]}, "routes.r[0].minutes.mixture[0][0]: must be at least 0, not -1"),
        ("jobs/1/route", "s", 'jobs[1].route: no route "s"'),
        ("jobs/1/id", "1", 'jobs[1].id: the job "1" is named twice'),
        ("jobs/1/id", "", "jobs[1].id: must be text that is not empty"),
        ("jobs/1/units", 0, "jobs[1].units: must be at least 1, not 0"),
        ("jobs/1/units", 5, 'jobs[1].units: 5 units fit no load of the station "oven"'),
        ("jobs/1/weight", -1, "jobs[1].weight: must be at least 0, not -1"),
        ("jobs/1/done", ["b"], 'jobs[1].done: "b" is done, but "a" before it is not'),
        ("jobs/1/done", ["x"], 'jobs[1].done[0]: no step "x"'),
        ("jobs/1/ready", "2026-03-02T08:01:00Z", "jobs[1].ready: must not lie after now"),
        ("jobs/1/hold_since", "2026-03-02T08:01:00Z", "jobs[1].hold_since: must not lie after now"),
        ("jobs/0/hold_since", "2026-03-02T07:01:00Z", "jobs[0].hold_since: needs hold_minutes"),
        ("jobs/0/running/step", "c", 'jobs[0].running: "c" is running, but "b" before it is not done'),
        ("jobs/0/running/since", "2026-03-02T08:01:00Z", "jobs[0].running.since: must not lie after now"),
        ("jobs/0/running/resource", "foot", 'jobs[0].running.resource: no resource "foot"'),
        ("jobs/0/running/resource", "oven", 'jobs[0].running.resource: "oven" does not serve the step "a"'),
        ("jobs/0/released", "2026-03-02T09:00:00Z", "jobs[0].released: must not lie after now where a step is running"),
        ("jobs/0/done", ["a"], 'jobs[0].running: "a" is already done or running'),
        (
            "jobs/1",
            job("2", running={"step": "a", "since": "2026-03-02T07:30:00+00:00"}),
            'jobs[1].running[0]: job "2": the station "bench" has no free resource left for the step "a"',
        ),
        ("arrivals/0/route", "s", 'arrivals[0].route: no route "s"'),
        ("arrivals/0/calendar", "noon", 'arrivals[0].calendar: no calendar "noon"'),
        ("arrivals/0/between_minutes", 0, "arrivals[0].between_minutes: must be at least 1e-06 on average"),
        ("arrivals/0/between_minutes", 5e-324, "arrivals[0].between_minutes: must be at least 1e-06 on average"),
        ("jobs/1/id", "half \ud800", "jobs[1].id: must be text in which no half of a surrogate pair stands alone"),
        (
            "routes/r/0/minutes",
            {"lognormal": {"mean": 1e-300, "sd": 1e8}},
            "routes.r[0].minutes.lognormal: the standard deviation must be at most 1000000 times the mean",
        ),
        (
            "routes/r/0/minutes",
            {"gamma": {"mean": 1e8, "sd": 5e-324}},
            "routes.r[0].minutes.gamma: the standard deviation must lie between",
        ),
        ("arrivals/0/units", 9, 'arrivals[0].units: 9 units fit no load of the station "oven"'),
        ("arrivals/0/rank", 1, "arrivals[0].rank: unknown key"),
    ],
)
def test_refused_with_the_place(path: str, value: Any, line: str) -> None:
    with pytest.raises(ShopError) as refusal:
        Shop.from_dict(changed(path, value))
    assert str(refusal.value).startswith(line)
    assert "\n" not in str(refusal.value)


def test_a_shop_must_be_an_object() -> None:
    with pytest.raises(ShopError, match="must be an object"):
        Shop.from_dict([])


def test_a_running_load_may_hold_more_than_its_capacity() -> None:
    running = {"step": "b", "since": "2026-03-02T07:00:00+00:00"}
    jobs = [job(str(i), done=["a"], running=running, units=3) for i in range(3)]
    shop = Shop.from_dict(changed("jobs", jobs))
    assert len(shop.jobs) == 3
