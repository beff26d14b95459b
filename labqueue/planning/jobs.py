"""One case as one job of the engine: its own route, put together from the routes of its pieces, and how far it is."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from labqueue.planning.seats import Key, Seat
from labqueue.planning.snapshot import OpenCase, Piece, Place, Snapshot, Step
from orders.materials import Kind

# How long an answer from the practice takes: lognormal, half of all within 0.7 days.
HOLD_MEDIAN, HOLD_SIGMA = 0.7 * 24 * 60, 0.8
HOLD_MEAN = HOLD_MEDIAN * math.exp(HOLD_SIGMA**2 / 2)
HOLD = {"lognormal": {"mean": HOLD_MEAN, "sd": HOLD_MEAN * math.sqrt(math.expm1(HOLD_SIGMA**2))}}

# What a held case still waits for when all its pieces are packed: it does not leave before the practice has answered.
ANSWER = "answer"

# A piece's step that another one needs first.
Need = tuple[Piece, Step]


@dataclass
class CaseJob:
    """A case on its way into the shop. `taken`: the seats of the steps that run; `ready`: since when others wait."""

    case: OpenCase
    snapshot: Snapshot
    taken: Mapping[Key, Seat]
    route: list[dict[str, Any]] = field(default_factory=list)
    done: list[str] = field(default_factory=list)
    running: list[dict[str, Any]] = field(default_factory=list)
    ready: list[datetime] = field(default_factory=list)

    def __post_init__(self) -> None:
        for piece in self.case.pieces:
            for before, step in zip((None, *piece.steps), piece.steps, strict=False):
                self._add(piece, step, before)
        if self.case.held_since and len(self.done) == len(self.route):
            self.route.append({"step": ANSWER, "station": None, "minutes": {"fixed": 0}, "after": self.done[-1:]})

    def job(self) -> dict[str, Any]:
        """The engine's job, on the route of the case's number."""
        case, now = self.case, self.snapshot.now
        stated: dict[str, Any] = {"id": case.number, "route": case.number, "done": self.done, "running": self.running}
        if case.due_at:
            stated["due"] = case.due_at.isoformat()
        if self.ready:
            stated["ready"] = min(max(self.ready), now).isoformat()
        if case.held_since:
            stated |= {"hold_minutes": HOLD, "hold_since": min(case.held_since, now).isoformat()}
        return stated

    def _add(self, piece: Piece, step: Step, before: Step | None) -> None:
        """One step, after the one before it and what it needs of other pieces."""
        needs: list[Need] = [(piece, before)] if before else []
        needs += needed_of_others(self.case, piece, step, self.snapshot.stations)
        able = able_since(piece, needs)
        after = [step_name(other, needed) for other, needed in needs]
        if step.wait is not None:
            after = [self._wait(piece, step, after, able)]
        self.route.append(stated_step(piece, step, self.snapshot.furnaces, after))
        self._progress(piece, step, able)

    def _wait(self, piece: Piece, step: Step, after: list[str], able: datetime | None) -> str:
        """The pure waiting before a step: over once the step has begun, under way since the step before was done."""
        name = f"{step_name(piece, step)} (wait)"
        self.route.append({"step": name, "station": None, "minutes": step.wait, "after": after})
        if step.started_at is not None:
            self.done.append(name)
        elif able is not None:
            self.running.append({"step": name, "since": min(able, self.snapshot.now).isoformat()})
        return name

    def _progress(self, piece: Piece, step: Step, able: datetime | None) -> None:
        """Done, running on its seat, or waiting since it was able to start."""
        name, seat = step_name(piece, step), self.taken.get((self.case.number, piece.line, step.name))
        if step.done_at is not None:
            self.done.append(name)
        elif seat is not None:
            self.running.append({"step": name, "since": seat.since.isoformat(), "resource": seat.resource})
        elif able is not None:
            self.ready.append(step.started_at or able)


def step_name(piece: Piece, step: Step | str) -> str:
    """The name of a piece's step in the route of its case, such as `1.design`."""
    return f"{piece.line}.{step if isinstance(step, str) else step.name}"


def stated_step(piece: Piece, step: Step, furnaces: frozenset[str], after: list[str]) -> dict[str, Any]:
    """A step at its station as the engine reads it. In a furnace, pieces of one material can share a load."""
    name = step_name(piece, step)
    stated: dict[str, Any] = {"step": name, "station": step.station, "minutes": step.minutes, "after": after}
    if step.station in furnaces:
        stated["family"] = piece.material
    if step.fail > 0 and step.back_to:
        stated["fail"] = {"probability": step.fail, "back_to": step_name(piece, step.back_to)}
    return stated


def needed_of_others(case: OpenCase, piece: Piece, step: Step, stations: Mapping[str, Place]) -> Iterator[Need]:
    """What a step waits for besides its own piece.

    A crown's joining step waits until the abutment on the same tooth is made; packing waits for all pieces of the
    case. What has begun already waits no more, even if another piece is made anew after an amendment.
    """
    if step.started_at is not None:
        return
    for other in case.pieces:
        awaited = [made for made in other.steps if awaits(piece, step, other, made, stations)]
        if awaited:
            yield other, awaited[-1]


def awaits(piece: Piece, step: Step, other: Piece, made: Step, stations: Mapping[str, Place]) -> bool:
    """Whether `step` of `piece` cannot start before `made` of the `other` piece is done."""
    here, there = (stations.get(each.station, Place(each.station)) for each in (step, made))
    if here.packs:
        return other is not piece and not there.packs
    pair = (piece.kind, other.kind) == (Kind.CROWN, Kind.ABUTMENT) and piece.tooth == other.tooth
    return step.joins and pair and there.makes


def able_since(piece: Piece, needs: list[Need]) -> datetime | None:
    """Since when a step can start: the last of its needs was done, or the piece released; None if it cannot yet."""
    if not needs:
        return piece.released_at
    ends = [step.done_at for _, step in needs if step.done_at]
    return max(ends) if len(ends) == len(needs) else None
