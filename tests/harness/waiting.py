"""Waiting for other processes, never longer than said."""

import time
from collections.abc import Callable
from typing import TypeVar

T = TypeVar("T")


def wait_for(condition: Callable[[], T], seconds: float, what: str = "", every: float = 0.05) -> T:
    """The first true value of `condition`. Fails the test where there is none within `seconds`."""
    until = time.monotonic() + seconds
    while not (value := condition()):
        if time.monotonic() > until:
            raise AssertionError(f"waited {seconds} s in vain for {what or condition}; last seen: {value!r}")
        time.sleep(every)
    return value
