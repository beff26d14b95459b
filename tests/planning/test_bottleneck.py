"""Work in process, late cases by station, and which station is the bottleneck."""

from datetime import timedelta
from typing import Any

import pytest

from labqueue.planning.bottleneck import StationLoad, late_cases, loads, work_in_process, worst
from tests.planning.build import CHECK, FIRE, MILL, NOW, PACK, case, done, laboratory, piece, started


def job(late: float | None, **waits: float | None) -> dict[str, Any]:
    """A case as the engine forecasts it."""
    return {"id": "2600001", "late": late, "waits": waits}


def load(code: str, late: float, wait: float | None = None, utilisation: float | None = None) -> StationLoad:
    """A station in the report."""
    return StationLoad(code, 0, wait, utilisation, late)


def test_pieces_on_the_floor_count_where_they_wait_or_are_worked_on() -> None:
    snapshot = laboratory(
        case("2600001", piece(MILL, FIRE), piece(started(MILL, minutes=5), FIRE, line=2, tooth=27)),
        case("2600002", piece(done(MILL, hours=2), started(FIRE, minutes=5), CHECK)),
        case("2600003", piece(done(MILL, hours=2), done(PACK, hours=1))),
        case("2600004", piece(released_at=None)),
    )
    assert work_in_process(snapshot) == {"mill": 2, "fire": 1}


def test_lateness_is_shared_out_where_the_case_waits() -> None:
    assert late_cases([job(0.8, mill=30.0, fire=90.0)]) == {"mill": pytest.approx(0.2), "fire": pytest.approx(0.6)}


def test_shares_of_all_cases_add_up_to_the_expected_late_ones() -> None:
    jobs = [job(0.8, mill=30.0, fire=90.0), job(0.5, mill=1.0), job(0.1, mill=0.0, check=400.0), job(0.0, mill=9.0)]
    found = late_cases(jobs)
    assert sum(found.values()) == pytest.approx(1.4)
    assert found["mill"] == pytest.approx(0.7)


def test_a_case_that_waits_nowhere_or_has_no_date_is_no_station_s() -> None:
    assert sum(late_cases([job(0.9, mill=0.0), job(None, mill=60.0), job(0.9)]).values()) == 0


def test_what_is_overdue_already_is_made_late_by_no_station() -> None:
    before, after = NOW - timedelta(minutes=1), NOW + timedelta(days=1)
    snapshot = laboratory(
        case("2600001", piece(MILL, FIRE), due_at=before), case("2600002", piece(MILL, FIRE), due_at=after)
    )
    jobs = [{**job(1.0, mill=60.0), "id": "2600001"}, {**job(0.25, mill=60.0), "id": "2600002"}]
    found = loads(snapshot, {"jobs": jobs, "stations": []})
    assert sum(station.late_cases for station in found) == pytest.approx(0.25)


def test_a_wait_that_is_not_known_counts_as_none() -> None:
    assert late_cases([job(0.5, mill=None, fire=10.0)]) == {"mill": 0.0, "fire": 0.5}


def test_every_station_is_in_the_report_in_the_floor_s_order() -> None:
    figures = {"jobs": [job(0.5, fire=10.0)], "stations": [{"name": "fire", "wait_mean": 12.5, "utilisation": 0.8}]}
    found = loads(laboratory(case("2600001")), figures)
    assert [station.code for station in found] == ["mill", "fire", "check", "pack"]
    assert found[0] == StationLoad("mill", 1, None, None, 0.0)
    assert found[1] == StationLoad("fire", 0, 12.5, 0.8, 0.5)


def test_the_bottleneck_makes_most_cases_late() -> None:
    assert worst([load("a", 1.0, 900.0, 0.9), load("b", 2.0, 5.0, 0.5)]) == load("b", 2.0, 5.0, 0.5)


def test_where_none_is_late_the_longest_wait_counts_then_use() -> None:
    assert worst([load("a", 0.01, 5.0, 0.9), load("b", 0.04, 4.0, 0.1)]) == load("a", 0.01, 5.0, 0.9)
    assert worst([load("a", 0.0, None, 0.2), load("b", 0.0, None, 0.6)]) == load("b", 0.0, None, 0.6)


def test_where_nothing_happens_there_is_none() -> None:
    assert worst([]) is None
    assert worst([load("a", 0.0), load("b", 0.0, 0.0, 0.0)]) is None
