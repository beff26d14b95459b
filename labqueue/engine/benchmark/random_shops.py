"""Small random shops of all that the SimPy program covers, to compare the engine with it on many."""

import random
from typing import Any

Document = dict[str, Any]

NOW = "2026-03-06T09:30:00-05:00"
"""A Friday before a clock change."""
BENCH = [["08:00", "12:00"], ["12:45", "16:45"]]
NIGHT = [["00:00", "06:00"], ["20:00", "24:00"]]
WORKDAYS = ("mon", "tue", "wed", "thu", "fri")
DUES = ("06T15:10", "06T23:00", "07T12:00", "09T10:15", "09T14:30", "10T16:00")
TIMES: list[Any] = [
    {"exponential": {"mean": 20}},
    {"erlang": {"mean": 20, "k": 3}},
    {"lognormal": {"mean": 16, "sd": 7}},
    {"gamma": {"mean": 18, "sd": 9}},
    {"triangular": [5, 10, 40]},
    {"uniform": [5, 25]},
    {"mixture": [[3, {"uniform": [5, 25]}], [1, {"lognormal": {"mean": 45, "sd": 10}}]]},
]
"""Without equal times: only the engine keeps the format's ties."""


def random_shop(seed: int) -> Document:
    """The shop document of a seed."""
    r = random.Random(seed)  # noqa: S311
    stations = [f"station {i}" for i in range(r.randint(1, 4))]
    resources = {f"hands {i}": _resource(r, name) for i, name in enumerate(stations)}
    routes = {f"route {i}": _route(r, stations) for i in range(r.randint(1, 3))}
    seats = {one["stations"][0]: one["count"] for one in resources.values()}
    return {
        "now": NOW,
        "horizon_minutes": 6000,
        "warm_up_minutes": r.choice([0, 0, 200]),
        "calendars": {
            "bench": {"time_zone": "America/New_York", "week": dict.fromkeys(WORKDAYS, BENCH)},
            "night": {"time_zone": "America/New_York", "week": dict.fromkeys((*WORKDAYS, "sat", "sun"), NIGHT)},
            "always": {"always": True},
        },
        "stations": {name: {"rule": r.choice(["fifo", "edd"])} for name in stations},
        "resources": resources,
        "routes": routes,
        "jobs": [_job(r, number, routes, seats) for number in range(r.randint(3, 12))],
        "arrivals": [_arrival(r, routes) for _ in range(r.choice([0, 1, 1, 2]))],
    }


def _resource(r: random.Random, station: str) -> Document:
    calendar = r.choice(["bench", "bench", "always", "night"])
    found: Document = {"stations": [station], "calendar": calendar, "count": r.choice([1, 1, 2, 3])}
    if r.random() < 0.35:
        load: Document = {"capacity": r.choice([2, 3, 6])}
        if r.random() < 0.7:
            load["wait_minutes"] = r.choice([0, 30, 90])
        if r.random() < 0.5:
            load["start_at"] = ["22:00"] if calendar == "night" else ["11:00", "16:30"]
        found["load"] = load
    if r.random() < 0.4:
        found["pauses"] = r.random() < 0.5
    if r.random() < 0.2:
        found["away"] = [["2026-03-06T10:05:00-05:00", "2026-03-06T13:55:00-05:00"]]
    return found


def _route(r: random.Random, stations: list[str]) -> list[Document]:
    steps: list[Document] = []
    before: list[set[int]] = []
    joins = r.random() < 0.5
    for i in range(r.randint(1, 6)):
        after = [k for k in range(i) if r.random() < 0.4] if joins and r.random() < 0.6 else [i - 1] * (i > 0)
        before.append({i}.union(*(before[k] for k in after)))
        step: Document = {
            "step": f"step {i}",
            "station": r.choice([*stations, *stations, None]),
            "minutes": r.choice(TIMES),
            "after": [f"step {k}" for k in after],
            "family": r.choice(["long", "short"]),
        }
        if r.random() < 0.3:
            step["fail"] = {"probability": r.choice([0.1, 0.3]), "back_to": f"step {r.choice(sorted(before[i]))}"}
        steps.append(step)
    return steps


def _job(r: random.Random, number: int, routes: dict[str, list[Document]], seats: dict[str, int]) -> Document:
    name = r.choice(sorted(routes))
    job: Document = {"id": f"J{number}", "route": name, "units": r.randint(1, 2)}
    if r.random() < 0.8:
        job["due"] = f"2026-03-{r.choice(DUES)}:00-0{r.choice([4, 5])}:00"
    if r.random() < 0.2:
        job["released"] = r.choice(["2026-03-06T11:00:00-05:00", "2026-03-06T12:45:00-05:00"])
    if r.random() < 0.2:
        job["hold_minutes"] = r.choice(TIMES)
    done: list[str] = []
    running: list[Document] = []
    for step in routes[name]:
        if set(step["after"]) <= set(done):
            if r.random() < 0.3:
                done.append(step["step"])
            elif "released" not in job and r.random() < 0.5 and seats.get(step["station"], 1):
                seats[step["station"]] = seats.get(step["station"], 1) - (step["station"] is not None)
                running.append({"step": step["step"], "since": f"2026-03-06T09:2{r.randint(2, 8)}:00-05:00"})
    return job | {"done": done, "running": running}


def _arrival(r: random.Random, routes: dict[str, list[Document]]) -> Document:
    return {
        "route": r.choice(sorted(routes)),
        "calendar": r.choice(["bench", "always"]),
        "between_minutes": r.choice([{"exponential": {"mean": 90}}, {"uniform": [30, 240]}]),
        "due_minutes": r.choice([300, {"uniform": [100, 2000]}]),
        "units": r.randint(1, 2),
    }
