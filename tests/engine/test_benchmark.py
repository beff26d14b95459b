"""The benchmark: its shops, its counting and its comparison. How quick anything is, is not tested."""

import dataclasses
import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from labqueue.engine import Shop, simulate
from labqueue.engine.__main__ import main
from labqueue.engine.benchmark import command, many_shops, report
from labqueue.engine.benchmark.agreement import Comparison, compare, outside
from labqueue.engine.benchmark.ciw_shop import CiwShop
from labqueue.engine.benchmark.contest import Contest, Timing, contest, operations
from labqueue.engine.benchmark.laboratory import laboratory
from labqueue.engine.benchmark.result import Result
from labqueue.engine.benchmark.simpy_shop import SimpyShop
from labqueue.engine.benchmark.subset import subset
from labqueue.engine.benchmark.timing import alone, medians, processor_seconds, wall_seconds
from tests.engine.shops import document, job, step

TINY = report.Scale((20, 40), 200, 1, 1200, (10, 5), (10, 20), 10)


class SlowSimpy(SimpyShop):
    """A wrong witness: all is finished, and all has waited, a fifth later."""

    def run(self, seed: int) -> Result:
        right = super().run(seed)
        later = [[value * 1.2 for value in values] for values in (right.completions, right.waited, right.flow)]
        return dataclasses.replace(right, completions=later[0], waited=later[1], flow=later[2])


# the shops


@pytest.mark.parametrize("jobs", [20, 200])
def test_the_laboratory_grows_with_its_open_jobs(jobs: int) -> None:
    shop = Shop.from_dict(laboratory(jobs))
    assert len(shop.jobs) == jobs
    assert [resource.count for resource in shop.resources] == [
        math.ceil(number * jobs / 200) for number in (4, 5, 5, 2, 5)
    ]
    gaps = [entry.between.mean for entry in shop.arrivals]
    assert sum(480 / gap for gap in gaps) == pytest.approx(60 * jobs / 200)


def test_the_laboratory_uses_the_whole_format() -> None:
    shop = Shop.from_dict(laboratory(200))
    steps = [step for route in shop.routes.values() for step in route.steps]
    running = [shop.routes[job.route].steps[one.step].station for job in shop.jobs for one in job.running]
    assert {6, 8, 9} == {len(route.steps) for route in shop.routes.values()}
    assert set(running) == {*shop.stations, None}
    assert any(len(step.after) == 2 for step in steps)
    assert {step.family for step in steps if step.station == "sintering"} == {"slow", "quick"}
    assert any(job.hold for job in shop.jobs)
    assert {job.route for job in shop.jobs} == set(shop.routes)
    assert len({job.due for job in shop.jobs if job.due}) > 100
    assert {resource.pauses for resource in shop.resources} == {True, False}


def test_the_laboratory_is_busy_and_finishes_its_open_jobs() -> None:
    forecast = simulate(Shop.from_dict(laboratory(200)), 100, seed=3)
    assert 0.8 < max(station["utilisation"] for station in forecast.stations) < 0.95
    assert sum(entry["unfinished"] for entry in forecast.jobs) / 200 < 0.01
    assert 0.01 < sum(entry["late"] for entry in forecast.jobs) / 200 < 0.2


def test_the_rule_is_that_of_all_stations() -> None:
    assert set(Shop.from_dict(laboratory(20, "atc")).stations.values()) == {"atc"}


# counting and measuring


def test_operations_are_steps_started_with_pure_waiting() -> None:
    """Three jobs of two steps, of which one has done the first; a fixed number, so exact."""
    steps = [step("work", "bench", 10), step("dry", None, 25)]
    jobs = [job("1"), job("2"), job("3", done=["work"])]
    assert operations(document(routes={"r": steps}, jobs=jobs)) == 2 + 2 + 1


def test_members_of_a_load_count_each() -> None:
    resources = {"oven": {"stations": ["bench"], "calendar": "always", "load": {"capacity": 4}}}
    assert operations(document(resources=resources, jobs=[job(str(i)) for i in range(4)])) == 4


def test_the_programs_count_as_the_engine_does() -> None:
    found = contest("laboratory", laboratory(40), 20, {SimpyShop: 30}, 1)
    engine, simpy = found.timings
    assert simpy.operations == pytest.approx(engine.operations, rel=0.05)


def test_calls_take_turns_and_the_median_counts() -> None:
    order: list[str] = []
    times = iter([5.0, 1.0, 7.0, 2.0, 6.0, 9.0])

    def seconds(call: Callable[[], object]) -> float:
        call()
        return next(times)

    calls = {"a": lambda: order.append("a"), "b": lambda: order.append("b")}
    assert medians(calls, 3, seconds) == {"a": 6.0, "b": 2.0}
    assert order == ["a", "b"] * 3


@pytest.mark.parametrize("seconds", [processor_seconds, wall_seconds])
def test_time_is_measured_of_the_call(seconds: Callable[[Callable[[], object]], float]) -> None:
    assert 0 < seconds(lambda: sum(range(200_000))) < 60


def test_a_fresh_process_is_measured_by_itself() -> None:
    kept = bytearray(400_000_000)
    found = alone(20, 10)
    assert found.import_seconds > 0
    assert found.first_seconds > 0
    assert 20_000_000 < found.bytes < len(kept)


def test_a_timing_is_told_by_operation() -> None:
    timing = Timing("engine", 1000, 2.0, 20_000)
    other = Timing("SimPy", 10, 2.0, 20_000)
    assert timing.nanoseconds == pytest.approx(100)
    assert timing.a_second == pytest.approx(1e7)
    assert Contest("shop", 1, (timing, other), {}).times(other) == pytest.approx(100)


def test_a_contest_gives_each_program_its_replications() -> None:
    found = contest("six stations", subset(), 20, {SimpyShop: 3, CiwShop: 2}, 2)
    assert [(one.program, one.replications) for one in found.timings] == [("engine", 20), ("SimPy", 3), ("Ciw", 2)]
    assert all(one.seconds > 0 and one.operations > 1000 for one in found.timings)
    assert {label: len(one) for label, one in found.comparisons.items()} == {"SimPy": 8, "Ciw": 8}


# whether the answers agree


def test_a_wrong_witness_is_found_to_disagree() -> None:
    shop = Shop.from_dict(laboratory(40))
    forecast = simulate(shop, 300, seed=3)
    right = compare(shop, forecast, [SimpyShop(shop).run(seed) for seed in range(60)])
    wrong = compare(shop, forecast, [SlowSimpy(shop).run(seed) for seed in range(60)])
    assert [one.name for one in right] == [one.name for one in wrong]
    assert all(one.agrees for one in right)
    assert not next(one for one in wrong if one.name == "mean completion").agrees
    assert outside(right) <= 1 < outside(wrong)


def test_a_constant_that_differs_never_agrees() -> None:
    shop = Shop.from_dict(document(jobs=[job("1")]))
    right, wrong = Result([10.0], [0.0], [1], 0, [], [], []), Result([11.0], [0.0], [1], 0, [], [], [])
    forecast = simulate(shop, 10)
    assert [one.z for one in compare(shop, forecast, [right] * 5)] == [0.0] * 3
    assert [one.agrees for one in compare(shop, forecast, [wrong] * 5)] == [False, True, True]


def test_something_rare_in_one_of_them_is_no_difference() -> None:
    """Of 100 runs one finds a weekend in the way; the engine's few replications found none."""
    shop = Shop.from_dict(document(jobs=[job("1")]))
    runs = [Result([10.0], [0.0], [1], 0, [], [], [])] * 99 + [Result([4000.0], [0.0], [1], 0, [], [], [])]
    assert compare(shop, simulate(shop, 50), runs)[0].agrees


@pytest.mark.parametrize(("z", "agrees"), [(0.0, True), (-3.9, True), (4.1, False), (-4.1, False), (math.nan, False)])
def test_four_standard_errors_are_the_limit(z: float, agrees: bool) -> None:
    assert Comparison("wait", 1.0, 1.0, z).agrees == agrees


def test_a_job_not_finished_counts_as_late_if_it_was_due() -> None:
    jobs = [job("1", due="2026-03-02T08:05:00+00:00"), job("2", due="2026-12-01T08:00:00+00:00")]
    shop = Shop.from_dict(document(jobs=jobs, horizon_minutes=8))
    late = compare(shop, simulate(shop, 5), [SimpyShop(shop).run(1)] * 3)[1]
    assert (late.name, late.engine, late.witness, late.z) == ("open jobs late", 0.5, 0.5, 0.0)


# the command


def written(scale: report.Scale) -> tuple[bool, str]:
    words: list[str] = []
    return report.report(scale, words.append), "".join(words)


def test_the_report_holds_every_measurement() -> None:
    agree, words = written(TINY)
    lines = words.splitlines()
    heads = [line for line in lines if line.startswith("| shop")]
    assert agree
    assert len(heads) == 2
    assert sum("| laboratory " in line and "| engine " in line for line in lines) == len(TINY.sizes)
    for words_of in ("Peak memory", "First call", "Growth with replications", "Threads", "Rules", "The answers agree"):
        assert sum(line.startswith(words_of) for line in lines) == 1, words_of
    assert {len(line) for line in lines if line.startswith("| six stations")} <= {len(head) for head in heads}


def test_a_report_with_a_wrong_witness_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(report, "SimpyShop", SlowSimpy)
    agree, words = written(dataclasses.replace(TINY, sizes=(40,), simulated=2400))
    assert not agree
    assert "The answers DISAGREE" in words


def test_random_shops_by_the_command_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["benchmark", "--random-shops", "1"]) == 0
    assert capsys.readouterr().out.splitlines()[-1].startswith("1 random shops, ")


def test_the_exit_status_says_that_answers_disagree(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(many_shops, "SimpyShop", SlowSimpy)
    assert main(["benchmark", "--random-shops", "2"]) == command.DISAGREE == 1
    assert "z -" in capsys.readouterr().out


def test_without_simpy_and_ciw_one_line_says_what_is_missing(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(command, "NEEDED", ("simpy", "no_such_package"))
    assert main(["benchmark"]) == command.MISSING == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err == "the benchmark needs no_such_package; install the project with its test extras\n"


@pytest.mark.parametrize("wrong", [["--fast"], ["--random-shops", "few"], ["--random-shops", "0"], ["shop.json"]])
def test_what_the_command_does_not_know_is_refused(wrong: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as refused:
        main(["benchmark", *wrong])
    assert refused.value.code == 2
    assert "error" in capsys.readouterr().err


def test_a_shop_file_named_benchmark_is_still_a_shop(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "benchmark").write_text(json.dumps(document(jobs=[job("1")])), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert main(["./benchmark", "--replications", "2"]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    assert found["jobs"][0]["id"] == "1"
