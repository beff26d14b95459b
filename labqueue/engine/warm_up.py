"""Loading the compiled kernel, or compiling it where no cache holds it, before the first question comes."""

from typing import Any

from labqueue.engine.forecast import simulate
from labqueue.engine.shop import Shop

SMALLEST: dict[str, Any] = {
    "now": "2026-01-05T08:00:00+00:00",
    "horizon_minutes": 60,
    "calendars": {"always": {"always": True}},
    "stations": {"bench": {}},
    "resources": {"hand": {"stations": ["bench"], "calendar": "always"}},
    "routes": {"step": [{"step": "work", "station": "bench", "minutes": {"gamma": {"mean": 3, "sd": 2}}}]},
    "jobs": [
        {"id": "1", "route": "step", "running": {"step": "work", "since": "2026-01-05T07:59:00+00:00"}},
        {"id": "2", "route": "step"},
    ],
}
"""A shop that calls every compiled function that Python calls."""


def warm_up() -> None:
    """Load or compile all that `simulate` needs; a worker calls it when it starts, after any fork."""
    simulate(Shop.from_dict(SMALLEST), replications=2)
