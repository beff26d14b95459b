"""The orders of the demonstration: how many on which day, from whom, for what. Seeded, so the same every time."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from orders.makes import Make, make_of

# Front teeth and premolars are restored most; third molars never.
PLACES = (1, 1, 2, 2, 3, 4, 4, 5, 5, 6, 6, 6, 7)


@dataclass(frozen=True)
class Piece:
    """One piece of an order."""

    tooth: int
    kind: str
    material: str
    layered: bool
    shade: str
    retention: str
    system: str
    connection: str
    platform: int

    @property
    def make(self) -> Make:
        """How it is made."""
        return make_of(self.kind, self.material, self.layered)


@dataclass
class Order:
    """One order as a practice made it. Instants are POSIX seconds; `slack` is spare working days."""

    created: float
    practice: int
    patient_ref: str
    stage: str
    pieces: list[Piece]
    slack: int
    hold: "Hold | None" = None
    due: float = 0.0
    signed: float = 0.0
    accepted: float = 0.0
    released: float = 0.0
    cancelled: float = float("inf")
    seat_at: datetime | None = None
    trace: "list[Trace]" = field(default_factory=list)


@dataclass
class Hold:
    """A question that stops a case after intake, for so many minutes of clock time."""

    reason: str
    minutes: float
    since: float = 0.0
    until: float = 0.0


@dataclass
class Trace:
    """What happened to one piece: per step, when it was started and done (POSIX seconds; infinite for never)."""

    piece: Piece
    times: list[tuple[float, float]] = field(default_factory=list)


def orders(scenario: Mapping[str, Any], today: date, zone: ZoneInfo, seed: int = 1) -> list[Order]:
    """All orders of the scenario's weeks up to and including `today`, oldest first."""
    rng = Random(seed)  # noqa: S311 - a demonstration, not a secret
    made = [
        order for day, count in _days(scenario["demand"], today, rng) for order in _day(scenario, day, count, zone, rng)
    ]
    return sorted(made, key=lambda order: order.created)


def _days(demand: Mapping[str, Any], today: date, rng: Random) -> Iterator[tuple[date, int]]:
    monday = today - timedelta(days=today.weekday(), weeks=demand["weeks"])
    factor = 1.0
    for offset in range((today - monday).days + 1):
        day = monday + timedelta(days=offset)
        if day.weekday() == 0:
            factor = min(1.25, max(0.8, rng.gauss(1.0, demand["week_sd"])))
        if day.weekday() < 5:
            mean = demand["cases_per_day"] * demand["weekday_factor"][day.weekday()] * factor
            yield day, max(10, round(rng.gauss(mean, demand["day_sd"])))


def _day(scenario: Mapping[str, Any], day: date, count: int, zone: ZoneInfo, rng: Random) -> Iterator[Order]:
    for _ in range(count):
        hour = min(20.0, max(6.0, rng.gauss(13.5, 2.8)))
        clock = time(int(hour), int(hour % 1 * 60), rng.randrange(60))
        yield _order(scenario, datetime.combine(day, clock, tzinfo=zone).timestamp(), rng)


def _order(scenario: Mapping[str, Any], created: float, rng: Random) -> Order:
    products = scenario["products"]
    product = rng.choices(products, [p["share"] for p in products])[0]
    positions = rng.choices((1, 2, 3), scenario["demand"]["positions"])[0]
    teeth = rng.sample([q * 10 + place for q in (1, 2, 3, 4) for place in sorted(set(PLACES))], positions)
    teeth[0] = rng.choice((1, 2, 3, 4)) * 10 + rng.choice(PLACES)
    system = rng.choice(scenario["systems"])
    shade = rng.choice(scenario["shades"]["crown"])
    pieces = [_piece(t, kind, m, shade, system, rng) for t in dict.fromkeys(teeth) for kind, m in product["pieces"]]
    practice = min(rng.randrange(len(scenario["practices"])), rng.randrange(len(scenario["practices"])))
    reference = f"{rng.choice('ABCDEFGHKLMNPRSTW')}{rng.choice('AEIOU')}{rng.randrange(1000, 9999)}"
    slack = rng.choices((0, 1, 2, 4), (55, 25, 12, 8))[0]
    return Order(created, practice, reference, product["stage"], pieces, slack, _hold(scenario, rng))


def _piece(tooth: int, word: str, material: str, shade: str, system: Mapping[str, Any], rng: Random) -> Piece:
    kind = "crown" if word == "layered_crown" else word
    retention = {"crown": "cement", "abutment": "screw"}.get(kind) or rng.choice(("screw", "screw", "angled_screw"))
    implant = kind != "crown"
    return Piece(
        tooth=tooth,
        kind=kind,
        material=material,
        layered=word == "layered_crown",
        shade="" if kind == "abutment" else shade,
        retention=retention,
        system=system["name"] if implant else "",
        connection=system["connection"] if implant else "",
        platform=round(system["platforms"][tooth % len(system["platforms"])] * 100) if implant else 0,
    )


def _hold(scenario: Mapping[str, Any], rng: Random) -> Hold | None:
    demand = scenario["demand"]
    if rng.random() >= demand["hold_share"]:
        return None
    hours = min(120.0, demand["hold_median_hours"] * rng.lognormvariate(0, demand["hold_sigma"]))
    return Hold(rng.choice(scenario["holds"]["reasons"]), hours * 60)
