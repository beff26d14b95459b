"""Who does what runs: never more than the engine takes, however people scan."""

from collections import Counter
from datetime import timedelta

import pytest

from labqueue.engine import Shop
from labqueue.planning.seats import LOAD_GAP, Seat, seats
from labqueue.planning.shop import assembled, case_parts
from labqueue.planning.shop import laboratory as base_of
from labqueue.planning.snapshot import OpenCase, Server, Snapshot
from tests.planning.build import (
    CHECK,
    FIRE,
    FURNACE,
    MILL,
    NOW,
    PACK,
    ago,
    case,
    done,
    laboratory,
    piece,
    server,
    started,
)


def milling(number: str, **span: float) -> OpenCase:
    """A case that has been at the mill for that long."""
    return case(number, piece(started(MILL, **span), FIRE, CHECK, PACK))


def firing(number: str, material: str = "zirconia_3y", **span: float) -> OpenCase:
    """A case that has been in the furnace for that long."""
    return case(number, piece(done(MILL, hours=9), started(FIRE, **span), CHECK, PACK, material=material))


def assert_engine_takes(snapshot: Snapshot, jobs: int) -> Shop:
    """The engine reads the shop with all cases."""
    shop = Shop.from_dict(assembled(base_of(snapshot), case_parts(snapshot)))
    assert len(shop.jobs) == jobs
    return shop


def test_what_runs_sits_on_the_resource_of_its_station() -> None:
    snapshot = laboratory(milling("2600001", minutes=5))
    assert seats(snapshot) == {("2600001", 1, "mill"): Seat("mill bench", ago(minutes=5))}


def test_the_earliest_keep_their_places_and_the_others_wait() -> None:
    snapshot = laboratory(milling("2600001", minutes=5), milling("2600002", minutes=50), milling("2600003", minutes=20))
    assert list(seats(snapshot)) == [("2600002", 1, "mill")]
    shop = assert_engine_takes(snapshot, jobs=3)
    assert [len(job.running) for job in shop.jobs] == [0, 1, 0]
    assert shop.jobs[0].ready == ago(minutes=5), "it has waited since it was said to be started"


def test_as_many_run_as_there_are_people() -> None:
    snapshot = laboratory(
        *(milling(f"260000{n}", minutes=n) for n in range(1, 6)),
        servers=(server("mill", count=3), FURNACE, server("check"), server("pack")),
    )
    assert [key[0] for key in seats(snapshot)] == ["2600005", "2600004", "2600003"]
    assert_engine_takes(snapshot, jobs=5)


def test_who_is_there_now_comes_before_who_has_gone_home() -> None:
    gone = server("mill", name="early bench", away=((ago(hours=1), NOW + timedelta(hours=1)),))
    here = server("mill", name="late bench")
    snapshot = laboratory(
        milling("2600001", minutes=5),
        milling("2600002", minutes=4),
        servers=(gone, here, FURNACE, server("check"), server("pack")),
    )
    assert [seat.resource for seat in seats(snapshot).values()] == ["late bench", "early bench"]


def test_one_person_at_two_stations_does_one_thing() -> None:
    both = server("check", name="last bench", stations=("check", "pack"))
    snapshot = laboratory(
        case("2600001", piece(done(MILL, hours=9), done(FIRE, hours=1), started(CHECK, minutes=9), PACK)),
        case(
            "2600002", piece(done(MILL, hours=9), done(FIRE, hours=1), done(CHECK, minutes=8), started(PACK, minutes=3))
        ),
        servers=(server("mill"), FURNACE, both),
    )
    assert list(seats(snapshot)) == [("2600001", 1, "check")]
    assert_engine_takes(snapshot, jobs=2)


def test_pieces_scanned_into_the_furnace_after_each_other_are_one_load() -> None:
    snapshot = laboratory(firing("2600001", minutes=60), firing("2600002", minutes=50), firing("2600003", minutes=38))
    found = seats(snapshot)
    assert set(found.values()) == {Seat("fire bench", ago(minutes=38))}, "it was started with the last piece"
    assert len(found) == 3
    assert_engine_takes(snapshot, jobs=3)


def test_a_later_piece_or_another_material_is_another_load() -> None:
    later = firing("2600002", minutes=60 - LOAD_GAP / timedelta(minutes=1) - 1)
    other = firing("2600003", "zirconia_5y", minutes=59)
    snapshot = laboratory(firing("2600001", minutes=60), later, other)
    assert list(seats(snapshot)) == [("2600001", 1, "fire")], "there is one furnace, and the first load is in it"
    assert_engine_takes(snapshot, jobs=3)


def test_two_furnaces_hold_two_loads() -> None:
    two = server("fire", hours="always", pauses=False, count=2, load={"capacity": 8, "wait_minutes": 30})
    snapshot = laboratory(
        firing("2600001", minutes=60),
        firing("2600002", "zirconia_5y", minutes=59),
        servers=(server("mill"), two, server("check"), server("pack")),
    )
    assert len(seats(snapshot)) == 2
    assert_engine_takes(snapshot, jobs=2)


def furnaces(count: int, capacity: int = 8) -> dict[str, tuple[Server, ...]]:
    """So many furnaces that take so many pieces each, among the other servers."""
    stated = {"capacity": capacity, "wait_minutes": 30}
    furnace = server("fire", hours="always", pauses=False, count=count, load=stated)
    return {"servers": (server("mill"), furnace, server("check"), server("pack"))}


def scanned_in(pieces: int) -> list[OpenCase]:
    """So many pieces, a minute after each other."""
    return [firing(f"26{n:05}", minutes=40 - n) for n in range(pieces)]


@pytest.mark.parametrize("pieces", [7, 8])
def test_a_furnace_is_filled_to_its_capacity(pieces: int) -> None:
    snapshot = laboratory(*scanned_in(pieces), **furnaces(2))
    assert list(seats(snapshot).values()) == [Seat("fire bench", ago(minutes=41 - pieces))] * pieces
    assert_engine_takes(snapshot, jobs=pieces)


def test_what_no_longer_fits_in_is_in_the_next_furnace() -> None:
    snapshot = laboratory(*scanned_in(10), **furnaces(2))
    found = list(seats(snapshot).values())
    assert found == [Seat("fire bench", ago(minutes=33))] * 8 + [Seat("fire bench", ago(minutes=31))] * 2
    assert_engine_takes(snapshot, jobs=10)


def test_what_fits_in_no_furnace_waits() -> None:
    snapshot = laboratory(*scanned_in(20), **furnaces(2))
    assert len(seats(snapshot)) == 16
    shop = assert_engine_takes(snapshot, jobs=20)
    assert [job.ready for job in shop.jobs if not job.running] == [ago(minutes=40 - n) for n in range(16, 20)]


def test_two_full_loads_of_one_instant_stay_two() -> None:
    """As scans of a device with a fast clock are: all of them are taken for now."""
    snapshot = laboratory(*(firing(f"260000{n}", minutes=-5) for n in range(6)), **furnaces(2, capacity=3))
    assert sorted(Counter(seats(snapshot).values()).values()) == [3, 3]
    assert_engine_takes(snapshot, jobs=6)


def test_each_furnace_is_filled_to_its_own_capacity() -> None:
    large = server("fire", name="a large furnace", hours="always", load={"capacity": 4, "wait_minutes": 30})
    small = server("fire", name="a small furnace", hours="always", load={"capacity": 2, "wait_minutes": 30})
    snapshot = laboratory(*scanned_in(7), servers=(server("mill"), small, large, server("check"), server("pack")))
    found = Counter(seat.resource for seat in seats(snapshot).values())
    assert found == {"a large furnace": 4, "a small furnace": 2}
    assert_engine_takes(snapshot, jobs=7)


def test_a_device_with_a_fast_clock_started_no_later_than_now() -> None:
    snapshot = laboratory(milling("2600001", minutes=-7))
    assert seats(snapshot)["2600001", 1, "mill"].since == NOW
    assert_engine_takes(snapshot, jobs=1)


def test_nobody_at_a_station_means_no_seat() -> None:
    assert seats(laboratory(milling("2600001", minutes=5), servers=(FURNACE,))) == {}
