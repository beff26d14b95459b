"""The benchmark's shop: an invented dental laboratory with a given number of open jobs, as a shop document.

It uses the whole format: bench hours with a lunch break in a time zone, machines that never close, a batch furnace with
families, pure waiting, a crown and its abutment side by side, rework, holds, work under way and work still to come.
"""

import math
import random
from datetime import datetime, timedelta
from typing import Any

Document = dict[str, Any]

NOW = datetime.fromisoformat("2026-03-02T09:30:00-05:00")
"""A Monday; a clock change lies within the horizon."""
HORIZON = 13_380
"""Until the evening of the eighth working day, in minutes."""
BENCH = [["08:00", "12:00"], ["12:45", "16:45"]]
BENCH_MINUTES = 480
UNITS_FOR_200 = {"design": 4, "milling": 5, "finishing": 5, "checking": 2, "sintering": 5}
"""People or machines at each station of a laboratory with 200 open jobs."""
ARRIVALS_FOR_200 = 60.0
"""Jobs that come on a working day of a laboratory with 200 open jobs."""
SHARES = {"zirconia crown": 0.35, "titanium abutment": 0.25, "crown on abutment": 0.25, "provisional crown": 0.15}
DUE_DAYS = ("02", "03", "04", "05", "06", "09", "10", "11")


def laboratory(jobs: int, rule: str = "edd") -> Document:
    """The shop document of a laboratory with `jobs` open jobs; people, machines and arrivals grow with them."""
    scale = jobs / 200
    counts = {station: math.ceil(number * scale) for station, number in UNITS_FOR_200.items()}
    routes = _routes()
    return {
        "now": NOW.isoformat(),
        "horizon_minutes": HORIZON,
        "calendars": {
            "bench hours": {
                "time_zone": "America/New_York",
                "week": dict.fromkeys(("mon", "tue", "wed", "thu", "fri"), BENCH),
            },
            "always": {"always": True, "time_zone": "America/New_York"},
        },
        "stations": {station: {"rule": rule} for station in UNITS_FOR_200},
        "resources": _resources(counts),
        "routes": routes,
        "jobs": _jobs(jobs, counts, routes),
        "arrivals": [_arrivals(route, share * ARRIVALS_FOR_200 * scale) for route, share in SHARES.items()],
    }


def _resources(counts: dict[str, int]) -> Document:
    def people(station: str) -> Document:
        return {"stations": [station], "calendar": "bench hours", "count": counts[station]}

    def machines(station: str) -> Document:
        return {"stations": [station], "calendar": "always", "count": counts[station], "pauses": False}

    load = {"capacity": 24, "wait_minutes": 180, "start_at": ["17:00"]}
    return {
        "designers": people("design"),
        "mills": machines("milling"),
        "finishers": people("finishing"),
        "checkers": people("checking"),
        "furnaces": machines("sintering") | {"load": load},
    }


def _lognormal(mean: float, sd: float) -> Document:
    return {"lognormal": {"mean": mean, "sd": sd}}


def _step(name: str, station: str | None, minutes: Document, **more: Any) -> Document:
    return {"step": name, "station": station, "minutes": minutes, **more}


def _check(back_to: str) -> Document:
    return _step("check", "checking", _lognormal(10, 3), fail={"probability": 0.06, "back_to": back_to})


def _routes() -> dict[str, list[Document]]:
    again = {"probability": 0.025, "back_to": "mill"}
    abutment_again = {"probability": 0.02, "back_to": "mill abutment"}
    return {
        "zirconia crown": [
            _step("margin", "design", _lognormal(4, 2)),
            _step("design", "design", _lognormal(11, 5)),
            _step("mill", "milling", {"triangular": [30, 45, 75]}, fail=again),
            _step("dry", None, {"triangular": [30, 45, 90]}),
            _step("sinter", "sintering", {"triangular": [520, 540, 590]}, family="slow"),
            _step("fit", "finishing", _lognormal(12, 4)),
            _step("stain", "finishing", {"gamma": {"mean": 17, "sd": 6}}),
            _check("stain"),
        ],
        "titanium abutment": [
            _step("design", "design", _lognormal(13, 6)),
            _step("mill", "milling", {"triangular": [60, 80, 140]}, fail=again),
            _step("rinse", None, {"uniform": [15, 40]}),
            _step("seat", "finishing", _lognormal(8, 3)),
            _step("polish", "finishing", {"erlang": {"mean": 16, "k": 4}}),
            _check("polish"),
        ],
        "crown on abutment": [
            _step("design", "design", _lognormal(18, 7)),
            _step("mill crown", "milling", {"triangular": [30, 45, 75]}),
            _step("dry", None, {"triangular": [30, 45, 90]}),
            _step("sinter", "sintering", {"triangular": [150, 165, 200]}, family="quick"),
            _step("mill abutment", "milling", {"triangular": [60, 80, 140]}, after=["design"], fail=abutment_again),
            _step("polish", "finishing", {"erlang": {"mean": 12, "k": 4}}, after=["mill abutment"]),
            _step("bond", "finishing", _lognormal(14, 5), after=["sinter", "polish"]),
            _step("set", None, {"uniform": [20, 45]}),
            _check("design"),
        ],
        "provisional crown": [
            _step("design", "design", _lognormal(9, 4)),
            _step("mill", "milling", {"triangular": [12, 20, 35]}, fail=again),
            _step("trim", "finishing", _lognormal(9, 3)),
            _step("cure", None, {"uniform": [20, 30]}),
            _step("polish", "finishing", {"exponential": {"mean": 8}}),
            _check("trim"),
        ],
    }


def _arrivals(route: str, a_day: float) -> Document:
    return {
        "route": route,
        "calendar": "bench hours",
        "between_minutes": {"exponential": {"mean": BENCH_MINUTES / a_day}},
        "due_minutes": {"uniform": [3_000, 8_000]},
    }


def _jobs(count: int, units: dict[str, int], routes: dict[str, list[Document]]) -> list[Document]:
    """Open jobs at all stages; at each station about two thirds of the units are at work."""
    r = random.Random(count)  # noqa: S311
    seats = {station: (2 * number + 1) // 3 for station, number in units.items()}
    loads = dict.fromkeys(("slow", "quick"), seats["sintering"] // 2 * 24)
    return [_job(r, number, routes, seats, loads) for number in range(count)]


def _job(
    r: random.Random, number: int, routes: dict[str, list[Document]], seats: dict[str, int], loads: dict[str, int]
) -> Document:
    route = r.choices(list(SHARES), list(SHARES.values()))[0]
    steps = routes[route]
    passed = r.randrange(len(steps))
    day = min(max(round((len(steps) - passed) * 0.6) + r.randint(-2, 2), 0), len(DUE_DAYS) - 1)
    job: Document = {
        "id": f"J-{number + 1}",
        "route": route,
        "due": f"2026-03-{DUE_DAYS[day]}T{r.randint(9, 16):02}:{r.randrange(60):02}:00-0{4 if day > 4 else 5}:00",
        "units": r.choice((1, 1, 1, 2, 3)),
        "weight": r.choice((1, 1, 2)),
        "done": [step["step"] for step in steps[:passed]],
    }
    running = _running(r, steps[passed], job["units"], seats, loads)
    if running:
        job["running"] = running
    elif r.random() < 0.03:
        job["hold_minutes"] = _lognormal(480, 400)
    return job


def _running(
    r: random.Random, step: Document, units: int, seats: dict[str, int], loads: dict[str, int]
) -> Document | None:
    """The step as it runs, while its station has seats left; members of one load have begun together."""
    station = step["station"]
    if station == "sintering":
        fits = loads[step["family"]] >= units
        loads[step["family"]] -= units * fits
        minutes = {"slow": 200, "quick": 70}[step["family"]] + loads[step["family"]] // 24 * 15
    else:
        fits = station is None or seats[station] > 0
        seats[station or ""] = seats.get(station or "", 0) - fits
        minutes = r.randint(2, 8 if station else 25)
    return {"step": step["step"], "since": (NOW - timedelta(minutes=minutes)).isoformat()} if fits else None
