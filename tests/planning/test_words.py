"""What a forecast says in one line."""

import pytest

from labqueue.planning.words import about, bottleneck, reason
from tests.planning.build import ago, case

NAMES = {"fire": "Sintering", "mill": "Dry milling"}
FREE = case("2600001")
HELD = case("2600001", held_since=ago(hours=3))


@pytest.mark.parametrize(
    ("minutes", "text"),
    [
        (0, "about 5 min"),
        (7.4, "about 5 min"),
        (38, "about 40 min"),
        (89, "about 90 min"),
        (91, "about 2 h"),
        (540, "about 9 h"),
        (47.4 * 60, "about 47 h"),
        (49 * 60, "about 2 days"),
        (6 * 1440, "about 6 days"),
    ],
)
def test_a_duration_is_said_as_roughly_as_it_is_known(minutes: float, text: str) -> None:
    assert about(minutes) == text


def test_the_reason_names_the_longest_wait() -> None:
    assert reason(FREE, {"mill": 31.0, "fire": 540.0}, NAMES) == "waits mostly at Sintering, about 9 h"


def test_a_case_that_hardly_waits() -> None:
    assert reason(FREE, {"mill": 12.0, "fire": 29.0}, NAMES) == "hardly waits: the work itself takes the time"
    assert reason(FREE, {}, NAMES) == "hardly waits: the work itself takes the time"
    assert reason(FREE, {"mill": None}, NAMES) == "hardly waits: the work itself takes the time"


def test_a_case_on_hold_says_so_first() -> None:
    assert reason(HELD, {"mill": 5.0}, NAMES) == "on hold, waits for an answer"
    assert reason(HELD, {"fire": 540.0}, NAMES) == "on hold, waits for an answer; then mostly at Sintering, about 9 h"


def test_a_station_without_a_name_is_called_by_its_code() -> None:
    assert reason(FREE, {"glaze": 540.0}, NAMES) == "waits mostly at glaze, about 9 h"


def test_a_bottleneck_is_said_with_what_makes_it_one() -> None:
    facts = bottleneck(11.04, 372.0, 0.913)
    assert facts == "an estimated 11.0 late cases, about 6 h of waiting per step, 91 % of its open time in use"


def test_what_is_nothing_is_left_out() -> None:
    assert bottleneck(0.01, 1.0, 0.5) == "50 % of its open time in use"
    assert bottleneck(1.0, None, None) == "an estimated 1.0 late case"
    assert bottleneck(0.0, None, None) == ""
