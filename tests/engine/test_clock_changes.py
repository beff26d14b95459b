"""Both nights on which the clocks change, in New York and in Berlin, computed by hand.

All minutes are elapsed ones since local midnight of that night. In spring 02:00 becomes 03:00 in both places: the
clock shows 03:00 after 120 minutes, and the day has 23 hours (1380 minutes). A time that is skipped counts with the
offset before: 02:30 is at 150. In autumn New York goes from 02:00 back to 01:00 (so 01:30 is at 90, the first of two,
and 02:00 at 180), Berlin from 03:00 back to 02:00 (02:30 at 150, 03:00 at 240); the day has 25 hours (1500 minutes).
"""

from typing import Any

import pytest

from labqueue.engine import Shop, simulate
from tests.engine.shops import document, finish_minutes, job, step

NIGHTS = {
    "spring New York": ("America/New_York", "2026-03-08T00:00:00-05:00"),
    "spring Berlin": ("Europe/Berlin", "2026-03-29T00:00:00+01:00"),
    "autumn New York": ("America/New_York", "2026-11-01T00:00:00-04:00"),
    "autumn Berlin": ("Europe/Berlin", "2026-10-25T00:00:00+02:00"),
}
Spans = list[list[str]]

SPRING: list[tuple[Spans, int, int]] = [
    ([["00:00", "24:00"]], 1380, 1380),
    ([["00:00", "24:00"]], 1381, 1381),
    ([["01:00", "04:00"]], 120, 180),  # open from 60 to 180
    ([["01:00", "04:00"]], 121, 1380 + 60 + 1),
    ([["02:30", "05:00"]], 90, 240),  # from 150 to 240
    ([["02:30", "05:00"]], 91, 1380 + 150 + 1),
    ([["01:30", "02:30"]], 60, 150),  # from 90 to 150
    ([["02:00", "03:00"]], 10, 1380 + 120 + 10),  # both at 120: nothing is left of it
    ([["00:00", "01:00"], ["03:00", "04:00"]], 90, 150),  # 60 minutes, then from 120
]
AUTUMN_NEW_YORK: list[tuple[Spans, int, int]] = [
    ([["00:00", "24:00"]], 1500, 1500),
    ([["00:00", "24:00"]], 1501, 1501),
    ([["01:00", "03:00"]], 180, 240),  # from 60 to 240
    ([["01:00", "03:00"]], 181, 1500 + 60 + 1),
    ([["01:30", "02:30"]], 120, 210),  # from 90 to 210
    ([["00:00", "01:30"]], 90, 90),  # until the first 01:30
    ([["00:00", "01:30"]], 91, 1501),
    ([["00:00", "01:00"], ["02:00", "04:00"]], 90, 210),  # 60 minutes, then from 180
]
AUTUMN_BERLIN: list[tuple[Spans, int, int]] = [
    ([["00:00", "24:00"]], 1500, 1500),
    ([["00:00", "24:00"]], 1501, 1501),
    ([["02:00", "04:00"]], 180, 300),  # from 120 to 300
    ([["02:00", "04:00"]], 181, 1500 + 120 + 1),
    ([["02:30", "03:30"]], 120, 270),  # from 150 to 270
    ([["00:00", "02:30"]], 150, 150),
    ([["00:00", "02:30"]], 151, 1501),
    ([["00:00", "02:00"], ["03:00", "05:00"]], 150, 270),  # 120 minutes, then from 240
]
PAUSING = [
    *(("spring New York", *case) for case in SPRING),
    *(("spring Berlin", *case) for case in SPRING),
    *(("autumn New York", *case) for case in AUTUMN_NEW_YORK),
    *(("autumn Berlin", *case) for case in AUTUMN_BERLIN),
]


def finish(night: str, spans: Spans, minutes: int, **resource: Any) -> float:
    """When one job of one step is finished, at a resource open at these clock times every day."""
    zone, now = NIGHTS[night]
    days = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
    doc = document(
        now=now,
        calendars={"c": {"time_zone": zone, "week": dict.fromkeys(days, spans)}},
        resources={"hand": {"stations": ["bench"], "calendar": "c"} | resource},
        routes={"r": [step("work", "bench", minutes)]},
        jobs=[job("1")],
    )
    return finish_minutes(doc)[0]


@pytest.mark.parametrize(("night", "spans", "minutes", "expected"), PAUSING)
def test_work_that_pauses(night: str, spans: Spans, minutes: int, expected: int) -> None:
    assert finish(night, spans, minutes) == expected


@pytest.mark.parametrize(
    ("night", "spans", "minutes", "expected"),
    [
        ("spring New York", [["00:00", "02:00"]], 300, 300),  # begun at midnight, runs through
        ("spring Berlin", [["02:30", "24:00"]], 10, 160),
        ("autumn New York", [["01:30", "24:00"]], 10, 100),
        ("autumn New York", [["02:00", "24:00"]], 10, 190),
        ("autumn Berlin", [["02:30", "24:00"]], 10, 160),
        ("autumn Berlin", [["03:00", "24:00"]], 10, 250),
    ],
)
def test_machines_that_run_on(night: str, spans: Spans, minutes: int, expected: int) -> None:
    assert finish(night, spans, minutes, pauses=False) == expected


@pytest.mark.parametrize(
    ("night", "away", "minutes", "expected"),
    [
        ("spring New York", ["2026-03-08T01:30:00-05:00", "2026-03-08T03:30:00-04:00"], 100, 160),  # from 90 to 150
        ("spring Berlin", ["2026-03-29T01:30:00+01:00", "2026-03-29T03:30:00+02:00"], 100, 160),
        ("autumn New York", ["2026-11-01T01:30:00-04:00", "2026-11-01T01:30:00-05:00"], 100, 160),  # from 90 to 150
        ("autumn Berlin", ["2026-10-25T02:30:00+02:00", "2026-10-25T02:30:00+01:00"], 160, 220),  # from 150 to 210
    ],
)
def test_away_over_the_change(night: str, away: list[str], minutes: int, expected: int) -> None:
    assert finish(night, [["00:00", "24:00"]], minutes, away=[away]) == expected


@pytest.mark.parametrize(
    ("night", "clock", "expected"),
    [
        ("spring New York", "02:30", 160),  # skipped: at 150
        ("spring Berlin", "02:30", 160),
        ("spring Berlin", "03:00", 130),  # at 120
        ("autumn New York", "01:30", 100),  # the first of two
        ("autumn New York", "02:00", 190),
        ("autumn Berlin", "02:30", 160),
        ("autumn Berlin", "03:00", 250),
    ],
)
def test_loads_by_the_clock(night: str, clock: str, expected: int) -> None:
    """A load of 10 minutes that starts at a clock time."""
    assert finish(night, [["00:00", "24:00"]], 10, load={"capacity": 5, "start_at": [clock]}) == expected


def test_the_gap_to_the_next_arrival_counts_open_minutes() -> None:
    """Open from 00:00 to 04:00, which is three hours in spring and five in autumn; one comes every 100 open minutes."""
    finished = {}
    for night, (zone, now) in NIGHTS.items():
        doc = document(
            now=now,
            horizon_minutes=700,
            calendars={
                "c": {"time_zone": zone, "week": {"sun": [["00:00", "04:00"]]}},
                "always": {"always": True},
            },
            arrivals=[{"route": "r", "calendar": "c", "between_minutes": 100}],
        )
        finished[night] = simulate(Shop.from_dict(doc), 1).arrivals[0]["finished"]
    assert finished == {"spring New York": 1, "spring Berlin": 1, "autumn New York": 3, "autumn Berlin": 3}
