"""Small laboratories made by hand: three stations in a row, one furnace, and whatever cases a test asks for."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

from labqueue.planning.snapshot import Hours, OpenCase, Piece, Place, Server, Snapshot, Step

# A Wednesday, 10:00 in New York.
NOW = datetime(2026, 3, 4, 15, 0, tzinfo=UTC)
DAY = [["08:00", "12:00"], ["13:00", "17:00"]]
WEEK = dict.fromkeys(("mon", "tue", "wed", "thu", "fri"), DAY)


def ago(**span: float) -> datetime:
    """That long before now."""
    return NOW - timedelta(**span)


def step(name: str, station: str | None = None, minutes: float = 10, **more: Any) -> Step:
    """A step at the station of its own name."""
    return Step(name, station or name, {"fixed": minutes}, **more)


def done(made: Step, **span: float) -> Step:
    """The step, started and done that long ago."""
    return replace(made, started_at=ago(**span) - timedelta(minutes=10), done_at=ago(**span))


def started(made: Step, **span: float) -> Step:
    """The step, running for that long."""
    return replace(made, started_at=ago(**span))


MILL, FIRE, CHECK, PACK = step("mill"), step("fire", minutes=500), step("check"), step("pack")
ROUTE = (MILL, FIRE, CHECK, PACK)


def piece(*steps: Step, line: int = 1, kind: str = "crown", tooth: int = 26, **more: Any) -> Piece:
    """A piece on the floor since yesterday."""
    facts = {"material": "zirconia_3y", "released_at": ago(days=1), **more}
    return Piece(line=line, kind=kind, tooth=tooth, steps=steps or ROUTE, **facts)


def case(number: str, *pieces: Piece, **more: Any) -> OpenCase:
    """A case that is due in two days."""
    facts = {"pk": int(number), "due_at": NOW + timedelta(days=2), "held_since": None, **more}
    return OpenCase(number=number, pieces=pieces or (piece(),), **facts)


def server(station: str, **more: Any) -> Server:
    """One person at one station."""
    return Server(**{"name": f"{station} bench", "stations": (station,), "hours": "day", **more})


FURNACE = server("fire", hours="always", pauses=False, load={"capacity": 8, "wait_minutes": 30})


def laboratory(*cases: OpenCase, **more: Any) -> Snapshot:
    """The laboratory with these cases."""
    codes = ("mill", "fire", "check", "pack")
    places = {code: Place(code.capitalize(), checks=code == "check", packs=code == "pack") for code in codes}
    facts: dict[str, Any] = {
        "now": NOW,
        "version": 7,
        "zone": "America/New_York",
        "stations": places,
        "hours": {"day": Hours(WEEK), "always": Hours(always=True)},
        "servers": (server("mill"), FURNACE, server("check"), server("pack")),
        "routes": {"zirconia_crown": ROUTE},
        **more,
    }
    return Snapshot(cases=cases, **facts)
