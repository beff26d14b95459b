"""Which station holds the work up: work in process, waiting, utilisation, and the late cases that its waiting makes."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from labqueue.planning.snapshot import Snapshot


@dataclass(frozen=True)
class StationLoad:
    """One station in one forecast. Waiting in mean minutes per step; utilisation as a share; late cases expected."""

    code: str
    work_in_process: int
    wait_minutes: float | None
    utilisation: float | None
    late_cases: float


def loads(snapshot: Snapshot, forecast: Mapping[str, Any]) -> list[StationLoad]:
    """Every station of the floor, in its order; `forecast` is the plain form of the engine's."""
    overdue = overdue_cases(snapshot)
    here, late = work_in_process(snapshot), late_cases(job for job in forecast["jobs"] if job["id"] not in overdue)
    figures = {station["name"]: station for station in forecast["stations"]}
    return [
        StationLoad(
            code=code,
            work_in_process=here[code],
            wait_minutes=figures.get(code, {}).get("wait_mean"),
            utilisation=figures.get(code, {}).get("utilisation"),
            late_cases=late.get(code, 0.0),
        )
        for code in snapshot.stations
    ]


def overdue_cases(snapshot: Snapshot) -> set[str]:
    """The cases whose due date has passed: no station can make them late any more."""
    return {case.number for case in snapshot.cases if case.due_at and case.due_at <= snapshot.now}


def work_in_process(snapshot: Snapshot) -> Counter[str]:
    """The pieces on the floor by the station at which they wait or are worked on."""
    pieces = (piece for case in snapshot.cases for piece in case.pieces if piece.released_at)
    return Counter(piece.front.station for piece in pieces if piece.front)


def late_cases(jobs: Iterable[Mapping[str, Any]]) -> dict[str, float]:
    """Expected late cases by station: each case's probability, spread in proportion to its mean waits.

    The lateness of a case that waits nowhere is no station's; it is in nobody's figure.
    """
    found: dict[str, float] = {}
    for job in jobs:
        waits = {code: minutes or 0.0 for code, minutes in job["waits"].items()}
        total = sum(waits.values())
        for code, minutes in waits.items():
            if total > 0:
                found[code] = found.get(code, 0.0) + (job["late"] or 0.0) * minutes / total
    return found


def worst(stations: Iterable[StationLoad]) -> StationLoad | None:
    """The bottleneck: whose waiting makes most cases late; where none is late, whose is longest, then the busiest.

    None where nothing waits and nothing is worked on.
    """
    ranked = max(stations, key=rank, default=None)
    return ranked if ranked and any(rank(ranked)) else None


def rank(station: StationLoad) -> tuple[float, float, float]:
    """The larger, the more it holds up; late cases that round to none count as none."""
    return round(station.late_cases, 1), round(station.wait_minutes or 0.0), station.utilisation or 0.0
