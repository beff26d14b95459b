"""Small shop documents, to be changed by each test where it matters."""

import copy
from typing import Any

from labqueue.engine import Shop, simulate

NOW = "2026-03-02T08:00:00+00:00"
"""A Monday."""
DAY = [["08:00", "12:00"], ["13:00", "17:00"]]

Document = dict[str, Any]


def step(name: str, station: str | None, minutes: Any, **more: Any) -> Document:
    return {"step": name, "station": station, "minutes": minutes, **more}


def job(name: str, route: str = "r", **more: Any) -> Document:
    return {"id": name, "route": route, **more}


def document(**sections: Any) -> Document:
    """One station `bench`, one resource `hand` that is always open, a route `r` of one step of 10 minutes, no jobs."""
    base: Document = {
        "now": NOW,
        "horizon_minutes": 10_000,
        "calendars": {
            "always": {"always": True},
            "day": {"time_zone": "UTC", "week": dict.fromkeys(("mon", "tue", "wed", "thu", "fri"), DAY)},
        },
        "stations": {"bench": {}},
        "resources": {"hand": {"stations": ["bench"], "calendar": "always"}},
        "routes": {"r": [step("work", "bench", 10)]},
        "jobs": [],
    }
    return copy.deepcopy(base) | copy.deepcopy(sections)


def finish_minutes(doc: Document, replications: int = 1, seed: int = 1) -> list[float]:
    """The minutes from now at which each job is finished, in the first replication."""
    forecast = simulate(Shop.from_dict(doc), replications=replications, seed=seed)
    return [float(row[0]) for row in forecast.completions]
