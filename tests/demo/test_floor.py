"""The small simulation of the past, with orders made by hand."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from labqueue.demo.demand import Hold, Order, Piece
from labqueue.demo.floor import Floor
from tests import cast

pytestmark = pytest.mark.once
ZONE = ZoneInfo("America/New_York")
MONDAY = date(2026, 3, 2)
LATER = datetime(2026, 3, 20, tzinfo=UTC).timestamp()


def at(clock: str, day: int = 0) -> float:
    """Seconds of a wall clock time, so many days after the Monday."""
    start = datetime.combine(MONDAY + timedelta(days=day), datetime.min.time(), tzinfo=ZONE)
    hour, minute = map(int, clock.split(":"))
    return start.replace(hour=hour, minute=minute).timestamp()


def piece(kind: str = "crown", material: str = "zirconia_4y", tooth: int = 26) -> Piece:
    """A piece for tooth 26."""
    return Piece(tooth, kind, material, False, "N2", "cement", "", "", 0)


def order(*pieces: Piece, released: float | None = None, **more: Any) -> Order:
    """An order that came to the floor on Monday at nine."""
    facts = {"created": at("08:00"), "practice": 0, "patient_ref": "K1", "stage": "final", "slack": 0, "due": LATER}
    return Order(pieces=list(pieces or [piece()]), released=released or at("09:00"), **{**facts, **more})


def run(*orders: Order, until: float = LATER, seed: int = 1) -> list[Order]:
    """The orders after they went through the demonstration's shop."""
    Floor(cast.laboratory(), MONDAY, MONDAY + timedelta(days=20), ZONE, seed).run(list(orders), until)
    return list(orders)


def spans(case: Order, index: int = 0) -> list[tuple[float, float]]:
    """When each step of a piece was started and done."""
    return case.trace[index].times


def station(case: Order, name: str, index: int = 0) -> tuple[float, float]:
    """When a piece was at a station."""
    steps = cast.laboratory()["routes"][case.trace[index].piece.make]
    return spans(case, index)[[step["station"] for step in steps].index(name)]


def test_a_piece_goes_through_every_step_of_its_route() -> None:
    (case,) = run(order())
    times = spans(case)
    assert len(times) == len(cast.laboratory()["routes"]["zirconia_crown"])
    assert all(start < end for start, end in times)
    assert all(end < then for (_, end), (then, _) in pairwise(times))


def test_nothing_happens_after_the_end_that_is_asked_for() -> None:
    (whole,) = run(order())
    cut = spans(whole)[2][0] + 1
    (case,) = run(order(), until=cut)
    assert spans(case) == spans(whole)[:3]


def test_an_order_that_is_not_released_leaves_no_trace() -> None:
    (case,) = run(order(released=float("inf")))
    assert case.trace == []


def test_a_furnace_is_lit_in_the_evening_and_opened_in_the_morning() -> None:
    (case,) = run(order())
    start, end = station(case, "sintering")
    assert at("17:00") <= start <= at("17:10")
    assert at("07:00", day=1) <= end <= at("07:30", day=1)


def test_a_crown_waits_for_its_abutment_and_the_box_for_both() -> None:
    abutment = piece("abutment", "zirconia_3y")
    for seed in range(5):
        (case,) = run(order(piece("crown", "lithium_disilicate"), abutment), seed=seed)
        assert station(case, "finishing", 0)[0] >= station(case, "finishing", 1)[1]
        packed, checked = ([station(case, name, n) for n in (0, 1)] for name in ("packing", "quality"))
        assert min(start for start, _ in packed) >= max(end for _, end in checked)


def test_a_question_stops_the_whole_case_behind_intake_until_it_is_answered() -> None:
    hold = Hold("Shade photograph missing", minutes=20 * 60)
    (case,) = run(order(piece(tooth=11), piece(tooth=12), hold=hold))
    assert hold.since == max(spans(case, n)[0][1] for n in (0, 1))
    # Twenty hours later nobody is there yet: it is answered when intake opens.
    assert hold.until == at("08:00", day=1)
    assert min(spans(case, n)[1][0] for n in (0, 1)) >= hold.until


def test_what_is_due_first_is_made_first() -> None:
    crowd = [order(due=LATER - number) for number in range(40)]
    run(*crowd)
    first = sorted(crowd, key=lambda case: spans(case)[1][0])
    assert [case.due for case in first[:5]] != [case.due for case in crowd[:5]]
    assert sum(case.due for case in first[:20]) < sum(case.due for case in first[20:])


def test_the_same_seed_has_the_same_past() -> None:
    one, two, other = run(order())[0], run(order())[0], run(order(), seed=2)[0]
    assert spans(one) == spans(two) != spans(other)
