"""Shops that go wrong: each gets a forecast that is right, or a refusal that says why; none hangs."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from labqueue.engine import Forecast, Shop, ShopError, plan, simulate
from labqueue.engine.run import run_replications
from tests.engine.shops import DAY, Document, document, job, step


def forecast(doc: Document, replications: int = 20) -> Forecast:
    return simulate(Shop.from_dict(doc), replications)


def test_a_shop_that_never_drains() -> None:
    """Two come where one can leave: the queue grows to the horizon, and the file's last job is never finished."""
    doc = document(
        horizon_minutes=1000,
        jobs=[job(str(i), due="2026-03-02T12:00:00+00:00") for i in range(200)],
        arrivals=[{"route": "r", "calendar": "always", "between_minutes": 5}],
    )
    found = forecast(doc)
    assert found.stations[0]["started"] == 101
    assert found.stations[0]["utilisation"] == 1.0
    last = found.jobs[-1]
    assert (last["unfinished"], last["late"], last["finish"]["p50"]) == (1.0, 1.0, None)


def test_a_resource_that_never_opens() -> None:
    doc = document(
        calendars={"never": {"time_zone": "UTC", "week": {}}},
        resources={"hand": {"stations": ["bench"], "calendar": "never"}},
        jobs=[job("1", due="2026-03-03T12:00:00+00:00")],
    )
    found = forecast(doc)
    assert (found.jobs[0]["unfinished"], found.jobs[0]["late"]) == (1.0, 1.0)
    assert found.stations[0]["utilisation"] is None
    assert found.stations[0]["queue_mean"] == 1.0


def test_a_family_that_never_fills() -> None:
    """Two of three units, and no time at which a load starts before it is full within the horizon."""
    doc = document(
        horizon_minutes=600,
        calendars={"c": {"time_zone": "UTC", "week": {"mon": [["00:00", "24:00"]]}}},
        resources={
            "hand": {"stations": ["bench"], "calendar": "c", "load": {"capacity": 3, "start_at": ["07:00"]}},
        },
        jobs=[job("1"), job("2")],
    )
    assert [entry["unfinished"] for entry in forecast(doc).jobs] == [1.0, 1.0]
    doc["jobs"].append(job("3"))
    assert [entry["unfinished"] for entry in forecast(doc).jobs] == [0.0, 0.0, 0.0]


def test_a_step_that_always_goes_back_is_refused() -> None:
    fail = {"probability": 1, "back_to": "work"}
    doc = document(routes={"r": [step("work", "bench", 10, fail=fail)]}, jobs=[job("1")])
    with pytest.raises(ShopError, match=r"^routes\.r\[0\]\.fail\.probability: "):
        Shop.from_dict(doc)


def test_ten_thousand_jobs() -> None:
    doc = document(
        horizon_minutes=200_000,
        resources={"hand": {"stations": ["bench"], "calendar": "always", "count": 2}},
        stations={"bench": {"rule": "atc"}},
        jobs=[job(str(i), weight=1 + i % 3, due="2026-03-02T12:00:00+00:00") for i in range(10_000)],
    )
    found = forecast(doc, replications=2)
    # all are equal but for their weight: 3,333 pairs of the heaviest begin
    assert found.completions[2::3].max() == pytest.approx(10 * 1667)
    assert found.completions.max() == 10 * 5_000


def test_an_empty_shop() -> None:
    found = forecast(document())
    assert found.jobs == []
    assert found.stations[0]["started"] == 0
    assert found.stations[0]["wait_mean"] is None
    bare = {"now": "2026-03-02T08:00:00+00:00", "horizon_minutes": 10, "calendars": {}, "stations": {}}
    assert forecast(bare | {"resources": {}, "routes": {}, "jobs": []}).jobs == []


def test_a_job_due_before_now_is_late_for_certain() -> None:
    found = forecast(document(jobs=[job("1", due="2026-02-27T12:00:00+00:00")])).jobs[0]
    assert (found["late"], found["unfinished"]) == (1.0, 0.0)
    assert found["finish"]["p50"] == "2026-03-02T08:10:00+00:00"


def test_far_more_waits_than_expected_are_counted_and_not_kept() -> None:
    """One job that is done again a million times: no figure of a single wait is kept, and all are right."""
    fail = {"probability": 1 - 1e-9, "back_to": "work"}
    doc = document(
        horizon_minutes=200_000, routes={"r": [step("work", "bench", 0.1, fail=fail)]}, jobs=[job("1"), job("2")]
    )
    _, books = run_replications(Shop.from_dict(doc), 3, seed=1, threads=1)
    assert books.log is None
    assert books.histogram is not None
    assert books.histogram[0].sum() == books.wait["starts"].sum() > 5_900_000
    found = forecast(doc, 3).stations[0]
    assert found["wait_mean"] == pytest.approx(0.1, rel=1e-3)
    assert found["wait_p95"] == pytest.approx(0.1, rel=0.02)


@pytest.mark.parametrize("hands", [1, 5, 30])
@pytest.mark.parametrize("rule", ["cr", "atc", "slack"])
def test_a_replication_that_outgrows_its_room_is_run_again_with_more(
    rule: str, hands: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Sixty groups of one job each, far more than the first guess has room for, are all served in the right order."""
    jobs = [
        job(str(i), route=f"r{i}", weight=1 + i / 100, due=f"2026-03-02T{7 + i // 10:02d}:{i % 10:02d}:00+00:00")
        for i in range(60)
    ]
    doc = document(
        stations={"bench": {"rule": rule}},
        resources={"hand": {"stations": ["bench"], "calendar": "always", "count": hands}},
        routes={
            f"r{i}": [step("work", "bench", 10), *(step(f"w{k}", None, 7 + i) for k in range(i))] for i in range(60)
        },
        jobs=jobs,
    )
    roomy = forecast(doc)
    monkeypatch.setattr(plan, "FEWEST_PLACES", 0)
    monkeypatch.setattr(plan, "FIRST_BLOCKS", 1)
    assert (forecast(doc).completions == roomy.completions).all()


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("{", "is not JSON"),
        ('{"now": 1}', "horizon_minutes: is missing"),
        ('{"now": "2026-03-02T08:00:00+00:00", "now": "x"}', "now"),
        ("[" * 100_000, "nested too deeply"),
        ('{"now": "2026-03-02T08:00:00+00:00", "horizon_minutes": NaN}', "horizon_minutes: "),
        ('{"now": "2026-03-02T08:00:00+00:00", "horizon_minutes": 1e999}', "horizon_minutes: "),
        ('{"now": "2026-03-02T08:00:00+00:00", "horizon_minutes": ' + "9" * 5000 + "}", "is not JSON: "),
        ('{"now": "2026-03-02T08:00:00+00:00", "horizon_minutes": ' + "9" * 400 + "}", "horizon_minutes: "),
        ('{"now": "2026-03-02T08:00:00+00:00", "horizon_minutes": 10, "stations": {"\\ud800": {}}}', "stations: "),
    ],
)
def test_the_command_line_refuses_in_one_line(tmp_path: Path, text: str, line: str) -> None:
    path = tmp_path / "shop.json"
    path.write_text(text)
    done = subprocess.run(
        [sys.executable, "-m", "labqueue.engine", str(path)], capture_output=True, text=True, timeout=60
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1
    assert line in done.stderr


def test_a_load_by_the_clock_over_very_many_days() -> None:
    """A hundred and ninety years, in each night of which a load could start."""
    doc = document(
        horizon_minutes=1e8,
        calendars={"c": {"time_zone": "UTC", "week": dict.fromkeys(("mon", "tue", "wed", "thu", "fri"), DAY)}},
        resources={"oven": {"stations": ["bench"], "calendar": "c", "load": {"capacity": 3, "start_at": ["09:00"]}}},
        jobs=[job("1")],
    )
    assert forecast(doc, replications=1).jobs[0]["finish"]["p50"] == "2026-03-02T09:10:00+00:00"


def test_more_replications_than_anybody_can_wait_for() -> None:
    with pytest.raises(ValueError, match="at most 1000000"):
        forecast(document(), replications=10**18)


def test_the_command_line_refuses_a_shop_that_cannot_end(tmp_path: Path) -> None:
    fail = {"probability": 1, "back_to": "work"}
    path = tmp_path / "shop.json"
    path.write_text(json.dumps(document(routes={"r": [step("work", "bench", 10, fail=fail)]}, jobs=[job("1")])))
    done = subprocess.run(
        [sys.executable, "-m", "labqueue.engine", str(path)], capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 2
    assert done.stderr.startswith("routes.r[0].fail.probability: ")
