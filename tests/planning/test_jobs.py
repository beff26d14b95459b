"""One case as one job: its route from those of its pieces, and how far it is. Expectations are made by hand."""

import math
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from labqueue.planning.jobs import HOLD, CaseJob
from labqueue.planning.seats import seats
from labqueue.planning.snapshot import OpenCase, Piece, Snapshot
from tests.planning.build import CHECK, FIRE, MILL, NOW, PACK, ago, case, done, laboratory, piece, started, step

FINISH = step("finish", "check", joins=True)


def stated(opened: OpenCase, snapshot: Snapshot | None = None) -> CaseJob:
    """The case as a job of the laboratory."""
    snapshot = snapshot or laboratory(opened)
    return CaseJob(opened, snapshot, seats(snapshot))


def after(job: CaseJob) -> dict[str, list[str]]:
    """What each step of the route waits for."""
    return {entry["step"]: entry["after"] for entry in job.route}


def same_tooth(
    *, abutment: tuple[Any, ...] = (MILL, CHECK, PACK), crown: tuple[Any, ...] = (MILL, FINISH, PACK)
) -> OpenCase:
    """An abutment on line 1 and its crown on line 2."""
    return case("2600001", piece(*abutment, kind="abutment"), piece(*crown, line=2))


def test_a_fresh_case_waits_at_its_first_step() -> None:
    job = stated(case("2600001"))
    assert job.route == [
        {"step": "1.mill", "station": "mill", "minutes": {"fixed": 10}, "after": []},
        {"step": "1.fire", "station": "fire", "minutes": {"fixed": 500}, "after": ["1.mill"], "family": "zirconia_3y"},
        {"step": "1.check", "station": "check", "minutes": {"fixed": 10}, "after": ["1.fire"]},
        {"step": "1.pack", "station": "pack", "minutes": {"fixed": 10}, "after": ["1.check"]},
    ]
    assert job.job() == {
        "id": "2600001",
        "route": "2600001",
        "done": [],
        "running": [],
        "due": "2026-03-06T15:00:00+00:00",
        "ready": "2026-03-03T15:00:00+00:00",
    }


def test_progress_is_done_running_and_waiting_since() -> None:
    job = stated(case("2600001", piece(done(MILL, hours=2), started(FIRE, minutes=30), CHECK, PACK))).job()
    assert job["done"] == ["1.mill"]
    assert job["running"] == [{"step": "1.fire", "since": "2026-03-04T14:30:00+00:00", "resource": "fire bench"}]
    assert "ready" not in job, "nothing waits that could start"


def test_what_can_start_has_waited_since_the_step_before_was_done() -> None:
    job = stated(case("2600001", piece(done(MILL, hours=2), FIRE, CHECK, PACK))).job()
    assert job["ready"] == "2026-03-04T13:00:00+00:00"


def test_of_two_pieces_that_wait_the_later_counts() -> None:
    pieces = (
        piece(done(MILL, hours=2), FIRE, CHECK, PACK),
        piece(done(MILL, hours=1), FIRE, CHECK, PACK, line=2, tooth=27),
    )
    assert stated(case("2600001", *pieces)).job()["ready"] == "2026-03-04T14:00:00+00:00"


def test_a_case_without_a_date_has_no_due() -> None:
    assert "due" not in stated(case("2600001", due_at=None)).job()


def test_before_the_release_the_whole_route_starts_now() -> None:
    job = stated(case("2600001", piece(released_at=None))).job()
    assert job["done"] == job["running"] == []
    assert "ready" not in job


def test_a_step_that_fails_goes_back_to_a_step_of_its_own_piece() -> None:
    check = replace(CHECK, fail=0.05, back_to="mill")
    route = stated(case("2600001", piece(MILL, FIRE, check, PACK, line=3))).route
    assert route[2]["fail"] == {"probability": 0.05, "back_to": "3.mill"}
    assert all("fail" not in entry for entry in (route[0], route[1], route[3]))


def test_crown_and_abutment_run_side_by_side_until_the_crown_joins() -> None:
    assert after(stated(same_tooth())) == {
        "1.mill": [],
        "1.check": ["1.mill"],
        "1.pack": ["1.check", "2.finish"],
        "2.mill": [],
        "2.finish": ["2.mill", "1.mill"],
        "2.pack": ["2.finish", "1.check"],
    }


def test_a_crown_joins_only_the_abutment_of_its_own_tooth() -> None:
    abutment = piece(MILL, CHECK, kind="abutment", tooth=27)
    opened = case("2600001", abutment, piece(MILL, FINISH, line=2))
    assert after(stated(opened))["2.finish"] == ["2.mill"]


def test_a_case_is_packed_as_a_whole() -> None:
    pieces = [piece(CHECK, PACK, line=line, tooth=20 + line) for line in (1, 2, 3)]
    waits = after(stated(case("2600001", *pieces)))
    assert waits["1.pack"] == ["1.check", "2.check", "3.check"]
    assert waits["3.pack"] == ["3.check", "1.check", "2.check"]


def test_what_is_packed_already_waits_for_nothing() -> None:
    packed = piece(done(CHECK, hours=2), done(PACK, hours=1))
    opened = case("2600001", packed, piece(CHECK, PACK, line=2, tooth=27))
    assert after(stated(opened))["1.pack"] == ["1.check"]
    assert after(stated(opened))["2.pack"] == ["2.check", "1.check"]


def test_a_crown_waits_to_join_since_the_later_of_both() -> None:
    opened = same_tooth(abutment=(done(MILL, hours=1), CHECK, PACK), crown=(done(MILL, hours=5), FINISH, PACK))
    assert stated(opened).job()["ready"] == "2026-03-04T14:00:00+00:00"


def test_a_crown_that_cannot_join_yet_does_not_wait_at_its_bench() -> None:
    opened = same_tooth(abutment=(started(MILL, minutes=5), CHECK, PACK), crown=(done(MILL, hours=5), FINISH, PACK))
    assert "ready" not in stated(opened).job()


@pytest.mark.parametrize("finish", [done(FINISH, hours=1), started(FINISH, minutes=3)])
def test_a_join_that_was_passed_holds_nobody_up(finish: Any) -> None:
    """The abutment is made anew after an amendment; the crown had joined the old one."""
    opened = same_tooth(crown=(done(MILL, hours=5), finish, PACK))
    assert after(stated(opened))["2.finish"] == ["2.mill"]


DRIED = replace(FIRE, wait={"triangular": [30, 45, 90]})


def test_waiting_before_a_step_is_a_step_without_a_station() -> None:
    route = stated(case("2600001", piece(MILL, DRIED))).route
    assert route[1] == {
        "step": "1.fire (wait)",
        "station": None,
        "minutes": {"triangular": [30, 45, 90]},
        "after": ["1.mill"],
    }
    assert route[2]["after"] == ["1.fire (wait)"]


def test_a_piece_has_been_drying_since_it_was_milled() -> None:
    job = stated(case("2600001", piece(done(MILL, minutes=20), DRIED))).job()
    assert job["running"] == [{"step": "1.fire (wait)", "since": "2026-03-04T14:40:00+00:00"}]


@pytest.mark.parametrize("fired", [started(DRIED, minutes=5), done(DRIED, minutes=5)])
def test_what_is_fired_has_dried(fired: Any) -> None:
    job = stated(case("2600001", piece(done(MILL, hours=9), fired))).job()
    assert "1.fire (wait)" in job["done"]


def test_what_is_not_milled_does_not_dry() -> None:
    job = stated(case("2600001", piece(MILL, DRIED))).job()
    assert job["done"] == job["running"] == []


def test_a_hold_lasts_as_answers_do_and_has_lasted_since_it_began() -> None:
    job = stated(case("2600001", held_since=ago(hours=3))).job()
    assert job["hold_minutes"] == HOLD
    assert job["hold_since"] == "2026-03-04T12:00:00+00:00"


BOXED = (done(MILL, hours=9), done(FIRE, hours=5), done(CHECK, hours=2), done(PACK, hours=1))


def test_a_held_case_with_everything_in_its_box_waits_for_the_answer() -> None:
    job = stated(case("2600001", piece(*BOXED), held_since=ago(hours=3)))
    assert job.route[-1] == {"step": "answer", "station": None, "minutes": {"fixed": 0}, "after": ["1.pack"]}
    assert job.job()["done"] == ["1.mill", "1.fire", "1.check", "1.pack"]


@pytest.mark.parametrize(
    "opened",
    [
        case("2600001", piece(*BOXED)),
        case("2600001", piece(*BOXED[:3], PACK), held_since=ago(hours=3)),
        case("2600001", piece(*BOXED), piece(*BOXED[:3], started(PACK, hours=1), line=2), held_since=ago(hours=3)),
    ],
)
def test_no_other_case_waits_for_an_answer_as_a_step(opened: OpenCase) -> None:
    assert len(stated(opened).route) == sum(len(piece.steps) for piece in opened.pieces)


def test_half_of_all_holds_end_within_0_7_days() -> None:
    """Mean and standard deviation are of a lognormal of that median and a sigma of 0.8 in the logarithm."""
    mean, sd = HOLD["lognormal"]["mean"], HOLD["lognormal"]["sd"]
    variance = math.log(1 + (sd / mean) ** 2)
    assert math.sqrt(variance) == pytest.approx(0.8)
    assert mean * math.exp(-variance / 2) == pytest.approx(0.7 * 1440)


@pytest.mark.parametrize(
    "opened",
    [
        case("2600001", held_since=NOW + timedelta(hours=1)),
        case("2600001", piece(done(MILL, minutes=-30), FIRE, CHECK, PACK)),
        case("2600001", piece(done(MILL, minutes=-30), DRIED)),
    ],
)
def test_no_instant_lies_after_now(opened: OpenCase) -> None:
    job = stated(opened).job()
    said = [job.get("ready"), job.get("hold_since"), *(running["since"] for running in job["running"])]
    assert all(datetime.fromisoformat(moment) <= NOW for moment in said if moment)
    assert any(said)


def test_a_piece_knows_its_front() -> None:
    assert piece(done(MILL, hours=1), FIRE).front == FIRE
    assert Piece(1, "crown", 26, "pmma", (done(MILL, hours=1),)).front is None
