"""Small random shops that use everything the format has, with many equal times so that ties happen."""

import random
from typing import Any

NOW = "2026-03-06T09:30:00-05:00"
RULES = ["fifo", "edd", "slack", "cr", "atc", "weight", "rank"]
BENCH = [["08:00", "12:00"], ["12:45", "16:45"]]


def random_time(r: random.Random) -> Any:
    times: list[Any] = [
        r.choice([0, 5, 10, 10, 20, 30]),
        r.choice([0, 15, 60]),
        {"fixed": r.choice([10, 45])},
        {"empirical": [r.choice([0, 5, 10, 20, 40]) for _ in range(r.randint(1, 4))]},
        {"exponential": {"mean": r.choice([10, 25])}},
        {"erlang": {"mean": 20, "k": r.randint(1, 3)}},
        {"lognormal": {"mean": 14, "sd": r.choice([0, 6])}},
        {"gamma": {"mean": 14, "sd": r.choice([6, 20])}},
        {"triangular": [5, 10, r.choice([10, 30])]},
        {"uniform": [5, r.choice([5, 15])]},
        {"mixture": [[3, 10], [1, {"lognormal": {"mean": 30, "sd": 10}}], [1, {"empirical": [5, 20]}]]},
    ]
    return r.choice(times)


def calendars(r: random.Random) -> dict[str, Any]:
    bench = {"time_zone": "America/New_York", "week": dict.fromkeys(("mon", "tue", "wed", "thu", "fri"), BENCH)}
    if r.random() < 0.5:
        bench["days"] = {"2026-03-07": [["09:00", "11:00"]]}
    night = {"time_zone": "America/New_York", "week": {d: [["00:00", "06:00"], ["20:00", "24:00"]] for d in DAYS}}
    return {"bench": bench, "night": night, "always": {"always": True}}


DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def resource(r: random.Random, stations: list[str], load: bool) -> dict[str, Any]:
    calendar = r.choice(["bench", "bench", "always", "night"])
    given: dict[str, Any] = {"stations": stations, "calendar": calendar, "count": r.choice([1, 1, 2, 3])}
    if load:
        given["load"] = {"capacity": r.choice([1, 2, 3, 6])}
        if r.random() < 0.7:
            given["load"]["wait_minutes"] = r.choice([0, 30, 90])
        if r.random() < 0.5:
            given["load"]["start_at"] = ["22:00"] if calendar == "night" else ["11:00", "16:30"]
        if r.random() < 0.3:
            given["pauses"] = True
    elif r.random() < 0.5:
        given["pauses"] = r.random() < 0.5
    if r.random() < 0.3:
        given["away"] = [["2026-03-06T10:00:00-05:00", "2026-03-06T14:00:00-05:00"]]
    return given


def route(r: random.Random, stations: list[str]) -> list[dict[str, Any]]:
    steps: list[dict[str, Any]] = []
    count = r.randint(1, 6)
    for i in range(count):
        step: dict[str, Any] = {
            "step": f"s{i}",
            "station": r.choice([*stations, None]),
            "minutes": random_time(r),
        }
        if i and r.random() < 0.5:
            step["after"] = [f"s{k}" for k in range(i) if r.random() < 0.4]
        if r.random() < 0.4:
            step["family"] = r.choice(["long", "short"])
        steps.append(step)
    for i, step in enumerate(steps):
        if r.random() < 0.4:
            step["fail"] = {"probability": r.choice([0.2, 0.5]), "back_to": f"s{r.choice(sorted(before(steps, i)))}"}
    return steps


def before(steps: list[dict[str, Any]], i: int) -> set[int]:
    """i and all that lie before it."""
    found = {i}
    for k in range(i, -1, -1):
        if k in found:
            default = [f"s{k - 1}"] if k else []
            found |= {int(name[1:]) for name in steps[k].get("after", default)}
    return found


def job(r: random.Random, number: int, routes: dict[str, Any], most_units: int) -> dict[str, Any]:
    name = r.choice(sorted(routes))
    steps = routes[name]
    given: dict[str, Any] = {"id": f"J{number}", "route": name, "units": r.randint(1, most_units)}
    if r.random() < 0.8:
        given["due"] = f"2026-03-{r.choice(['06', '09', '10'])}T{r.choice(['10', '12', '16'])}:00:00-05:00"
    given["weight"] = r.choice([0, 1, 1, 2])
    if r.random() < 0.5:
        given["rank"] = r.choice([1, 2, 3])
    later = r.random() < 0.25
    if later:
        given["released"] = r.choice(["2026-03-06T11:00:00-05:00", "2026-03-06T12:45:00-05:00"])
    elif r.random() < 0.3:
        given["ready"] = "2026-03-06T08:30:00-05:00"
    if r.random() < 0.4:
        done = {k for k in range(len(steps)) if r.random() < 0.4}
        given["done"] = [f"s{k}" for k in sorted(done) if before(steps, k) <= done]
    if r.random() < 0.25:
        given["hold_minutes"] = random_time(r)
        if r.random() < 0.4 and not later:
            given["hold_since"] = "2026-03-06T09:20:00-05:00"
    if not later and r.random() < 0.5:
        done = {int(name[1:]) for name in given.get("done", [])}
        able = [k for k in range(len(steps)) if k not in done and before(steps, k) - {k} <= done]
        picked = [k for k in able if r.random() < 0.5]
        given["running"] = [
            {"step": f"s{k}", "since": r.choice(["2026-03-05T16:30:00-05:00", "2026-03-06T09:15:00-05:00"])}
            for k in picked
        ]
    return given


def random_shop(seed: int) -> dict[str, Any]:
    """A shop document; it may be refused where more steps run than there are resources."""
    r = random.Random(seed)
    stations = {f"st{i}": {"rule": r.choice(RULES)} for i in range(r.randint(1, 4))}
    names = sorted(stations)
    resources: dict[str, Any] = {}
    most_units = r.choice([2, 2, 4])
    for name in names:
        load = r.random() < 0.4
        others = [other for other in names if other != name and r.random() < 0.25]
        resources[f"r-{name}"] = resource(r, [name, *others], load)
        if r.random() < 0.4:
            resources[f"x-{name}"] = resource(r, [name], load if r.random() < 0.8 else not load)
    items = list(resources.items())
    r.shuffle(items)
    routes = {f"route{i}": route(r, names) for i in range(r.randint(1, 3))}
    arrivals = [
        {
            "route": r.choice(sorted(routes)),
            "calendar": r.choice(["bench", "always"]),
            "between_minutes": r.choice([{"exponential": {"mean": 60}}, {"empirical": [0, 60, 120]}, 90]),
            "due_minutes": r.choice([300, {"uniform": [100, 2000]}]),
        }
        for _ in range(r.choice([0, 0, 1, 2]))
    ]
    return {
        "now": NOW,
        "horizon_minutes": r.choice([2000, 6000]),
        "warm_up_minutes": r.choice([0, 0, 30, 180]),
        "calendars": calendars(r),
        "stations": stations,
        "resources": dict(items),
        "routes": routes,
        "jobs": [job(r, i, routes, most_units) for i in range(r.randint(0, 9))],
        "arrivals": arrivals,
    }
