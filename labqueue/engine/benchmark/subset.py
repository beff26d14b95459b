"""A shop that Ciw can state too: six stations, first in first out, rework, work that comes; no open jobs, no loads."""

from typing import Any

Document = dict[str, Any]

NOW = "2026-03-02T08:00:00+00:00"
EVERY_DAY = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
SHIFT = [["08:00", "16:00"]]
COUNTS = {"design": 2, "milling": 5, "staining": 1, "finishing": 2, "checking": 1, "packing": 1}
GAP = 24.0
"""Mean minutes between two jobs of a route, where all is always open."""


def subset(shifts: bool = False) -> Document:
    """The shop document; with `shifts` all work eight hours a day and pause, and a third as much comes."""
    stretch = 3 if shifts else 1
    arrival = {"calendar": "always", "between_minutes": {"exponential": {"mean": GAP * stretch}}}
    return {
        "now": NOW,
        "horizon_minutes": 7_200 * stretch,
        "calendars": {
            "always": {"always": True},
            "shift": {"time_zone": "UTC", "week": dict.fromkeys(EVERY_DAY, SHIFT)},
        },
        "stations": {station: {"rule": "fifo"} for station in COUNTS},
        "resources": {
            f"{station} hands": {"stations": [station], "calendar": "shift" if shifts else "always", "count": count}
            for station, count in COUNTS.items()
        },
        "routes": _routes(),
        "arrivals": [arrival | {"route": route, "due_minutes": 900 * stretch} for route in ("crown", "abutment")],
    }


def _routes() -> dict[str, list[Document]]:
    design = {"step": "design", "station": "design", "minutes": {"lognormal": {"mean": 18, "sd": 7}}}
    mill = {
        "step": "mill",
        "station": "milling",
        "minutes": {"triangular": [30, 45, 75]},
        "fail": {"probability": 0.03, "back_to": "mill"},
    }
    stain = {"step": "stain", "station": "staining", "minutes": {"gamma": {"mean": 20, "sd": 8}}}
    finish = {"step": "finish", "station": "finishing", "minutes": {"lognormal": {"mean": 16, "sd": 6}}}
    check = {"step": "check", "station": "checking", "minutes": {"exponential": {"mean": 8}}}
    pack = {"step": "pack", "station": "packing", "minutes": {"uniform": [2, 8]}}

    def checked(back_to: str) -> Document:
        return check | {"fail": {"probability": 0.06, "back_to": back_to}}

    return {
        "crown": [design, mill, stain, finish, checked("stain"), pack],
        "abutment": [design, mill, finish, checked("design"), pack],
    }
