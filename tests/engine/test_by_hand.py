"""Small shops whose answers are computed by hand: calendars, rules, loads, joins, work under way, holds, going back."""

import math
from typing import Any

import pytest

from labqueue.engine import Shop, simulate
from tests.engine.shops import Document, document, finish_minutes, job, step

TWO: Document = {"bench": {}, "oven": {}}


def day_hand(**more: Any) -> Document:
    return {"hand": {"stations": ["bench"], "calendar": "day", **more}}


def oven(capacity: int = 3, count: int = 1, calendar: str = "always", **load: Any) -> Document:
    return {
        "oven": {
            "stations": ["bench"],
            "calendar": calendar,
            "count": count,
            "load": {"capacity": capacity, **load},
        }
    }


# calendars, pauses and absences


def test_work_pauses_over_lunch_and_night() -> None:
    doc = document(
        resources=day_hand(),
        routes={"r": [step("work", "bench", 300)]},
        jobs=[job("a"), job("b")],
    )
    # a: 240 minutes to 12:00, 60 more from 13:00; b: 14:00-17:00, then 120 minutes on Tuesday
    assert finish_minutes(doc) == [360, 24 * 60 + 120]


def test_a_machine_that_does_not_pause_runs_through_but_starts_only_while_open() -> None:
    doc = document(
        resources=day_hand(pauses=False),
        routes={"r": [step("work", "bench", 300)]},
        jobs=[job("a"), job("b"), job("c")],
    )
    # a to 13:00, when it opens again: b to 18:00; c on Tuesday at 08:00
    assert finish_minutes(doc) == [300, 600, 24 * 60 + 300]


def test_nothing_starts_at_the_closing_instant_but_work_may_end_there() -> None:
    doc = document(resources=day_hand(), routes={"r": [step("work", "bench", 240)]}, jobs=[job("a"), job("b")])
    assert finish_minutes(doc) == [240, 540]
    assert finish_minutes(document(resources=day_hand(), jobs=[job("a", released="2026-03-02T12:00:00+00:00")])) == [
        310
    ]


def test_work_starts_at_the_opening_instant() -> None:
    doc = document(now="2026-03-02T07:00:00+00:00", resources=day_hand(), jobs=[job("a")])
    assert finish_minutes(doc) == [70]


def test_an_absence_closes_all_of_a_resource() -> None:
    away = [["2026-03-02T08:05:00+00:00", "2026-03-02T09:00:00+00:00"]]
    doc = document(
        resources={"hand": {"stations": ["bench"], "calendar": "always", "count": 2, "away": away}},
        jobs=[job("a"), job("b"), job("c")],
    )
    assert finish_minutes(doc) == [65, 65, 75]


def test_a_closed_day_and_a_special_day() -> None:
    week = {"mon": [["08:00", "16:00"]], "tue": [["08:00", "16:00"]]}
    days = {"2026-03-03": [], "2026-03-04": [["22:00", "24:00"]], "2026-03-05": [["00:00", "01:00"]]}
    doc = document(
        calendars={"c": {"time_zone": "UTC", "week": week, "days": days}},
        resources={"hand": {"stations": ["bench"], "calendar": "c"}},
        routes={"r": [step("work", "bench", 560)]},
        jobs=[job("a")],
    )
    # 480 on Monday, 80 from Wednesday 22:00
    assert finish_minutes(doc) == [2 * 1440 + 14 * 60 + 80]


def test_touching_spans_over_midnight_are_one() -> None:
    week = {"mon": [["20:00", "24:00"]], "tue": [["00:00", "06:00"]]}
    doc = document(
        calendars={"c": {"time_zone": "UTC", "week": week}},
        resources={"hand": {"stations": ["bench"], "calendar": "c", "pauses": False}},
        routes={"r": [step("work", "bench", 240)]},
        jobs=[job("a"), job("b")],
    )
    # b starts at midnight: that is not a closing
    assert finish_minutes(doc) == [12 * 60 + 240, 12 * 60 + 480]


@pytest.mark.parametrize(
    ("now", "hours", "work", "finish"),
    [
        # New York, 8 March 2026, 02:00 -05:00 becomes 03:00 -04:00: the night is an hour shorter
        ("2026-03-07T22:00:00-05:00", [["00:00", "24:00"]], 600, 600),
        ("2026-03-08T00:00:00-05:00", [["01:00", "04:00"]], 120, 60 + 120),
        ("2026-03-08T00:00:00-05:00", [["01:00", "04:00"]], 121, 24 * 60 + 1),
        ("2026-03-08T00:00:00-05:00", [["02:30", "05:00"]], 30, 150 + 30),  # 02:30 -05:00 is 03:30 -04:00
        ("2026-03-08T00:00:00-05:00", [["01:30", "02:30"]], 60, 90 + 60),  # 02:30 counts with -05:00
        ("2026-03-08T00:00:00-05:00", [["02:00", "03:00"]], 10, 23 * 60 + 120 + 10),  # nothing is left of it
        # 1 November 2026, 02:00 -04:00 becomes 01:00 -05:00: the hour from 01:00 comes twice
        ("2026-11-01T00:00:00-04:00", [["00:00", "24:00"]], 1500, 1500),
        ("2026-11-01T00:00:00-04:00", [["01:00", "03:00"]], 180, 60 + 180),  # 01:00 -04:00 to 03:00 -05:00
        ("2026-11-01T00:00:00-04:00", [["01:30", "02:30"]], 120, 90 + 120),  # 01:30 -04:00 to 02:30 -05:00
        ("2026-11-01T00:00:00-04:00", [["00:00", "01:30"]], 90, 90),  # ends at 01:30 -04:00
        ("2026-11-01T00:00:00-04:00", [["00:00", "01:30"]], 91, 25 * 60 + 1),
    ],
)
def test_nights_of_clock_changes(now: str, hours: Any, work: float, finish: float) -> None:
    week = dict.fromkeys(("sat", "sun", "mon"), hours)
    doc = document(
        now=now,
        calendars={"c": {"time_zone": "America/New_York", "week": week}},
        resources={"hand": {"stations": ["bench"], "calendar": "c"}},
        routes={"r": [step("work", "bench", work)]},
        jobs=[job("a")],
    )
    assert finish_minutes(doc) == [finish]


# rules

DUE = {"x": "2026-03-02T10:00:00+00:00", "y": "2026-03-02T09:00:00+00:00", "z": "2026-03-02T09:30:00+00:00"}


@pytest.mark.parametrize(
    ("rule", "order"),
    [
        ("fifo", "wxyz"),
        ("edd", "yzxw"),
        ("weight", "zwxy"),  # 3, then 1, 1, 1 in the order of the file
        ("rank", "xzwy"),  # 1, 2, then those without
        # W: x 20+30, y 20, z 20; slack now (120-50)/2 = 35, 40, 70; then y (60-20)-20 = 20 before z
        ("slack", "xyzw"),
        # (d-t)/W: x 120/50 = 2.4, y 60/20 = 3, z 90/20 = 4.5
        ("cr", "xyzw"),
    ],
)
def test_rules(rule: str, order: str) -> None:
    doc = document(
        stations={"bench": {"rule": rule}},
        routes={"r": [step("work", "bench", 20)], "long": [step("work", "bench", 20), step("dry", None, 30)]},
        jobs=[
            job("w"),
            job("x", "long", due=DUE["x"], rank=1),
            job("y", due=DUE["y"]),
            job("z", due=DUE["z"], rank=2, weight=3),
        ],
    )
    finish = dict(zip("wxyz", finish_minutes(doc), strict=True))
    finish["x"] -= 30
    assert [finish[name] for name in order] == [20, 40, 60, 80]


def test_the_rule_is_asked_anew_each_time() -> None:
    """By critical ratio y overtakes x: (200-t)/100 < (60-t)/20 at 0, and the other way round at 25 + 15."""
    doc = document(
        stations={"bench": {"rule": "cr"}},
        routes={
            "first": [step("work", "bench", 40)],
            "x": [step("work", "bench", 10), step("dry", None, 90)],
            "y": [step("work", "bench", 20)],
        },
        jobs=[
            job("now", "first", due="2026-03-02T08:01:00+00:00"),
            job("x", "x", due="2026-03-02T11:20:00+00:00"),
            job("y", "y", due="2026-03-02T09:00:00+00:00"),
        ],
    )
    # at 40: x 160/100 = 1.6, y 20/20 = 1
    assert finish_minutes(doc) == [40, 70 + 90, 60]


def test_apparent_tardiness_cost() -> None:
    doc = document(
        stations={"bench": {"rule": "atc"}},
        routes={"short": [step("work", "bench", 10)], "long": [step("work", "bench", 30)]},
        jobs=[
            job("a", "long", due="2026-03-02T08:30:00+00:00", weight=2),  # (2/30) exp(0) = 0.067
            job("b", "short", due="2026-03-02T10:00:00+00:00", weight=2),  # (2/10) exp(-110/60) = 0.032
            job("c", "short", due="2026-03-02T08:10:00+00:00", weight=1),  # (1/10) exp(0) = 0.1
            job("d", "short", due="2026-03-02T08:10:00+00:00", weight=0),
        ],
    )
    assert finish_minutes(doc) == [40, 50, 10, 60]


def test_a_resource_serves_its_stations_in_the_order_it_lists_them() -> None:
    doc = document(
        stations=TWO,
        resources={"hand": {"stations": ["oven", "bench"], "calendar": "always"}},
        routes={"r": [step("work", "bench", 10)], "o": [step("bake", "oven", 10)]},
        jobs=[job("a"), job("b", "o"), job("c", "o")],
    )
    assert finish_minutes(doc) == [30, 10, 20]


def test_resources_take_work_in_file_order() -> None:
    doc = document(
        resources={
            "slow": {"stations": ["bench"], "calendar": "day"},
            "quick": {"stations": ["bench"], "calendar": "always"},
        },
        routes={"r": [step("work", "bench", 250)]},
        jobs=[job("a"), job("b")],
    )
    assert finish_minutes(doc) == [310, 250]


def test_ready_is_the_time_since_when_a_step_has_waited() -> None:
    doc = document(jobs=[job("a"), job("b", ready="2026-03-02T07:30:00+00:00")])
    assert finish_minutes(doc) == [20, 10]
    forecast = simulate(Shop.from_dict(doc), 1)
    assert [entry["waits"] for entry in forecast.jobs] == [{"bench": 10.0}, {"bench": 30.0}]


# loads


def test_a_load_starts_when_full() -> None:
    doc = document(resources=oven(3, wait_minutes=60), jobs=[job("a", units=2), job("b", units=1), job("c")])
    assert finish_minutes(doc) == [10, 10, 70]


def test_a_load_passes_over_what_does_not_fit() -> None:
    doc = document(resources=oven(3, wait_minutes=60), jobs=[job("a", units=2), job("b", units=2), job("c", units=1)])
    assert finish_minutes(doc) == [10, 70, 10]


def test_a_load_starts_by_the_clock_if_the_resource_is_free_and_a_missed_time_is_not_made_up() -> None:
    doc = document(
        resources=oven(3, start_at=["09:00", "10:30", "12:00"]),
        routes={"r": [step("work", "bench", 120)]},
        jobs=[job("a"), job("b", released="2026-03-02T09:00:00+00:00"), job("c", released="2026-03-02T09:01:00+00:00")],
    )
    assert finish_minutes(doc) == [180, 180, 240 + 120]


def test_families_do_not_share_a_load_and_the_first_by_the_rule_goes_first() -> None:
    doc = document(
        stations={"bench": {"rule": "edd"}},
        resources=oven(2),
        routes={"r": [step("work", "bench", 10, family="long")], "s": [step("work", "bench", 20, family="short")]},
        jobs=[job("a"), job("b", "s", due=DUE["y"]), job("c"), job("d", "s")],
    )
    # short first (b is due first), with d; then long
    assert finish_minutes(doc) == [30, 20, 30, 20]


def test_two_furnaces_take_a_load_each() -> None:
    doc = document(resources=oven(2, count=2), jobs=[job(name) for name in "abcde"])
    assert finish_minutes(doc) == [10, 10, 10, 10, 20]


def test_the_oldest_counts_from_ready() -> None:
    doc = document(resources=oven(3, wait_minutes=60), jobs=[job("a", ready="2026-03-02T07:30:00+00:00"), job("b")])
    assert finish_minutes(doc) == [40, 40]


def test_a_family_that_never_fills_does_not_start() -> None:
    doc = document(resources=oven(5, start_at=["17:00"], calendar="day"), jobs=[job("a")]) | {"horizon_minutes": 500}
    doc["resources"]["oven"]["load"]["start_at"] = ["16:59"]
    assert finish_minutes(doc) == [math.inf]
    assert finish_minutes(doc | {"horizon_minutes": 549}) == [549]


def test_only_jobs_that_fit_a_furnace_count_towards_its_being_full() -> None:
    resources = {
        "small": {"stations": ["bench"], "calendar": "always", "load": {"capacity": 2, "wait_minutes": 1000}},
        "large": {"stations": ["bench"], "calendar": "always", "load": {"capacity": 6, "wait_minutes": 1000}},
    }
    doc = document(resources=resources, jobs=[job("a", units=4), job("b", units=1)])
    assert finish_minutes(doc) == [1010, 1010]
    forecast = simulate(Shop.from_dict(doc), 1)
    assert [entry["fill_mean"] for entry in forecast.resources] == [1.0, 4.0]


def test_a_load_under_way_is_one_load_and_ends_together() -> None:
    running = {"step": "work", "since": "2026-03-02T07:55:00+00:00", "resource": "oven"}
    doc = document(
        resources=oven(3),
        routes={"r": [step("work", "bench", {"exponential": {"mean": 60}})]},
        jobs=[job("a", running=running), job("b", running=running), job("c", running=running, units=3)],
    )
    finish = finish_minutes(doc)
    assert finish[0] == finish[1] == finish[2] > 0


# joins and side-by-side steps


def test_a_step_after_two_waits_for_both() -> None:
    doc = document(
        routes={
            "r": [
                step("scan", "bench", 10),
                step("crown", None, 50, after=["scan"]),
                step("abutment", None, 30, after=["scan"]),
                step("join", "bench", 5, after=["crown", "abutment"]),
            ]
        },
        jobs=[job("a")],
    )
    assert finish_minutes(doc) == [65]


def test_steps_after_nothing_start_at_once() -> None:
    doc = document(routes={"r": [step("one", None, 10), step("two", None, 30, after=[])]}, jobs=[job("a")])
    assert finish_minutes(doc) == [30]


# under way, held, released, done


@pytest.mark.parametrize(
    ("minutes", "since", "rest"),
    [
        (60, "2026-03-02T07:20:00+00:00", 20),
        (30, "2026-03-02T07:20:00+00:00", 0),
        ({"empirical": [10, 45]}, "2026-03-02T07:20:00+00:00", 5),
        ({"mixture": [[9, 20], [1, 70]]}, "2026-03-02T07:20:00+00:00", 30),
        ({"uniform": [0, 10]}, "2026-03-02T07:20:00+00:00", 0),
    ],
)
def test_the_rest_of_a_running_step(minutes: Any, since: str, rest: float) -> None:
    doc = document(
        routes={"r": [step("work", "bench", minutes)]}, jobs=[job("a", running={"step": "work", "since": since})]
    )
    assert finish_minutes(doc) == [rest]


def test_a_pausing_resource_has_worked_its_open_minutes_only() -> None:
    since = "2026-02-27T16:30:00+00:00"  # Friday, half an hour before closing
    doc = document(
        resources=day_hand(),
        routes={"r": [step("work", "bench", 300)]},
        jobs=[job("a", running={"step": "work", "since": since})],
    )
    # 30 done; 240 to noon, 30 after lunch
    assert finish_minutes(doc) == [330]
    doc["resources"]["hand"]["pauses"] = False
    assert finish_minutes(doc) == [0]


def test_a_running_step_sits_on_the_first_free_open_resource_unless_it_names_one() -> None:
    resources = {
        "closed": {"stations": ["bench"], "calendar": "night"},
        "first": {"stations": ["bench"], "calendar": "always"},
        "second": {"stations": ["bench"], "calendar": "always"},
    }
    calendars = {"always": {"always": True}, "night": {"time_zone": "UTC", "week": {"mon": [["20:00", "24:00"]]}}}
    since = "2026-03-02T07:59:00+00:00"
    running = {"step": "work", "since": since}
    jobs = [job("a", running=running), job("b", running=running | {"resource": "first"}), job("c", running=running)]
    shop = Shop.from_dict(document(calendars=calendars, resources=resources, jobs=jobs))
    forecast = simulate(shop, 1)
    assert [float(row[0]) for row in forecast.completions] == [9, 9, 12 * 60 + 10]
    assert [entry["utilisation"] for entry in forecast.resources][1:] == [9 / 10_000, 9 / 10_000]


def test_a_hold_counts_from_the_release_and_running_steps_go_on() -> None:
    doc = document(
        routes={"r": [step("scan", None, 30), step("work", "bench", 10)]},
        jobs=[
            job("a", hold_minutes=100),
            job("b", hold_minutes=100, released="2026-03-02T09:00:00+00:00"),
            job("c", hold_minutes=100, running={"step": "scan", "since": "2026-03-02T07:50:00+00:00"}),
            job("d", hold_minutes=100, hold_since="2026-03-02T07:00:00+00:00"),
        ],
    )
    assert finish_minutes(doc) == [140, 200, 110, 80]


def test_done_steps_and_finished_jobs() -> None:
    doc = document(
        routes={"r": [step("one", "bench", 10), step("two", "bench", 5)]},
        jobs=[job("a", done=["one"]), job("b", done=["one", "two"]), job("c", done=["one", "two"], due=DUE["y"])],
    )
    assert finish_minutes(doc) == [5, 0, 0]


# going back


def test_a_failed_step_and_all_that_followed_are_done_again() -> None:
    """The check fails almost surely: the job is sent back again and again, each time for 10 + 20 minutes."""
    doc = document(
        routes={
            "r": [step("one", "bench", 10), step("two", "bench", 20, fail={"probability": 0.999999, "back_to": "one"})]
        },
        jobs=[job("a")],
    )
    forecast = simulate(Shop.from_dict(doc), 1)
    assert forecast.jobs[0]["unfinished"] == 1.0
    assert forecast.stations[0]["started"] == math.ceil(10_000 / 30) * 2 - 1 + 1
    assert forecast.resources[0]["utilisation"] == 1.0


def test_going_back_breaks_off_what_runs_beside() -> None:
    """The short branch fails at 10, 20, …; the long branch of 100 minutes begins anew each time and never ends."""
    fail = {"probability": 0.999999, "back_to": "start"}
    doc = document(
        stations=TWO,
        resources={
            "hand": {"stations": ["bench"], "calendar": "always"},
            "oven": {"stations": ["oven"], "calendar": "always"},
        },
        routes={
            "r": [
                step("start", None, 0),
                step("short", "bench", 10, after=["start"], fail=fail),
                step("long", "oven", 100, after=["start"]),
            ],
            "o": [step("bake", "oven", 1)],
        },
        jobs=[job("a"), job("b", "o")],
    ) | {"horizon_minutes": 995}
    forecast = simulate(Shop.from_dict(doc), 1)
    # b waits behind the first start of the long branch, and gets the oven when that is broken off at 10
    assert [float(row[0]) for row in forecast.completions] == [math.inf, 11]
    assert forecast.stations[1]["started"] == 101
    assert forecast.stations[1]["utilisation"] == 1.0


def test_a_job_due_before_now_is_late_and_an_unfinished_one_if_due_within_the_horizon() -> None:
    doc = document(
        routes={"r": [step("work", "bench", 10)], "never": [step("work", "bench", 100_000)]},
        jobs=[
            job("a", due="2026-03-01T08:00:00+00:00"),
            job("b", "never", due="2026-03-03T08:00:00+00:00"),
            job("c", "never", due="2027-03-03T08:00:00+00:00"),
            job("d"),
            job("e", due="2026-03-02T08:10:00+00:00", done=["work"]),
        ],
    )
    forecast = simulate(Shop.from_dict(doc), 4)
    assert [entry["late"] for entry in forecast.jobs] == [1.0, 1.0, 0.0, None, 0.0]
    assert [entry["unfinished"] for entry in forecast.jobs] == [0.0, 1.0, 1.0, 1.0, 0.0]
    assert forecast.jobs[1]["finish"] == {"p05": None, "p50": None, "p80": None, "p95": None}
    assert forecast.jobs[1]["mean_finish"] is None
    assert forecast.jobs[3]["late_ci"] is None
    assert forecast.jobs[0]["finish"]["p50"] == "2026-03-02T08:10:00+00:00"


def test_events_at_the_horizons_own_instant_happen() -> None:
    assert finish_minutes(document(jobs=[job("a")]) | {"horizon_minutes": 10}) == [10]
    assert finish_minutes(document(jobs=[job("a")]) | {"horizon_minutes": 9.999}) == [math.inf]


# figures


def test_figures_of_one_deterministic_replication() -> None:
    doc = document(jobs=[job("a"), job("b"), job("c")]) | {"horizon_minutes": 100, "warm_up_minutes": 10}
    forecast = simulate(Shop.from_dict(doc), 1)
    station = forecast.stations[0]
    # measured over 10 … 100: busy 20; b waits 10 and starts at 10, c waits 20 and starts at 20; in queue 1 for 10
    assert station["utilisation"] == pytest.approx(20 / 90)
    assert station["queue_mean"] == pytest.approx(10 / 90)
    assert (station["started"], station["wait_mean"], station["wait_p95"]) == (2, 15, 19.5)


def test_figures_without_anything_to_divide_by_are_null() -> None:
    calendars = {"never": {"time_zone": "UTC"}}
    doc = document(
        calendars=calendars, resources={"hand": {"stations": ["bench"], "calendar": "never"}}, jobs=[job("a")]
    )
    forecast = simulate(Shop.from_dict(doc), 2)
    assert forecast.stations[0] | {"queue_mean": 1.0} == {
        "name": "bench",
        "utilisation": None,
        "wait_mean": None,
        "wait_ci": None,
        "wait_p95": None,
        "queue_mean": 1.0,
        "started": 0.0,
    }
    assert forecast.jobs[0]["unfinished"] == 1.0


def test_a_horizon_of_less_than_a_microsecond() -> None:
    forecast = simulate(Shop.from_dict(document(jobs=[job("a")], horizon_minutes=1e-9)), 2)
    assert forecast.stations[0]["queue_mean"] is None
    assert forecast.jobs[0]["unfinished"] == 1.0


def test_an_empty_shop_has_an_empty_forecast() -> None:
    forecast = simulate(Shop.from_dict({"now": "2026-03-02T08:00:00Z", "horizon_minutes": 10}), 3, seed=5)
    assert forecast.to_dict() == {
        "now": "2026-03-02T08:00:00+00:00",
        "replications": 3,
        "seed": 5,
        "jobs": [],
        "stations": [],
        "resources": [],
        "arrivals": [],
    }


def test_arrivals_come_in_open_minutes() -> None:
    doc = document(
        arrivals=[{"route": "r", "calendar": "day", "between_minutes": 100, "due_minutes": 5}],
        horizon_minutes=1440 + 100,
    )
    forecast = simulate(Shop.from_dict(doc), 1)
    # at 100, 200, 360 (12:00 is 240 minutes on, 13:00 is 300) and 460 of Monday; the fifth on Tuesday at 20
    assert forecast.arrivals[0]["finished"] == 5
    assert forecast.arrivals[0]["flow_mean"] == 10
    assert forecast.arrivals[0]["late"] == 1.0
