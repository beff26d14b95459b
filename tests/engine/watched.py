"""The plain event loop with an observer: each start is checked as it happens, and each instant after it."""

from typing import Any

from tests.engine.oracle import Oracle, Piece, Work


class Watched(Oracle):
    """An oracle that asserts what must hold in any shop; `starts_seen` counts what was looked at."""

    def __init__(self, *arguments: Any) -> None:
        super().__init__(*arguments)
        self.starts_seen = 0
        self.instants_seen = 0
        self.tries_drawn: set[tuple[int, str, int]] = set()

    def draw(self, work: Work, elapsed: float = 0.0) -> int:
        """Each try of a step has its own draw, which is used once."""
        drawn = (work.job.key, work.step.name, work.tries)
        assert drawn not in self.tries_drawn
        self.tries_drawn.add(drawn)
        return super().draw(work, elapsed)

    def seat(self, work: Work) -> None:
        """No step before those it waits for, none of a job that is held or not yet released, none twice at once."""
        assert work.state == "waiting"
        assert all(work.job.works[i].state == "done" for i in work.step.after)
        assert not work.job.held
        assert work.job.released <= self.now
        super().seat(work)

    def occupy(self, resource: int, members: list[Work], work: int) -> None:
        """No resource does more than it can; none starts while it is closed; a load is one family and not too large."""
        super().occupy(resource, members, work)
        given = self.shop.resources[resource]
        self.starts_seen += len(members)
        assert len(self.busy[resource]) <= given.count
        assert all(member.step.station in given.stations for member in members)
        if self.starts_of_now():
            assert self.open(resource)
            if given.load:
                assert sum(member.job.units for member in members) <= given.load.capacity
                assert len({(member.step.station, member.step.family) for member in members}) == 1
            else:
                assert len(members) == 1

    def starts_of_now(self) -> bool:
        """Whether this start is one of the simulation; what runs at now is seated first, open or not."""
        return self.instants_seen > 0

    def hand_out(self) -> None:
        """Work conservation: once work is handed out, nothing waits that an open, free resource could begin."""
        self.instants_seen += 1
        super().hand_out()
        for number, resource in enumerate(self.shop.resources):
            if len(self.busy[number]) == resource.count or not self.open(number):
                continue
            waiting = [work for work in self.waiting if work.step.station in resource.stations]
            if resource.load is None:
                assert not waiting
            for work in waiting:
                family = [
                    w for w in waiting if (w.step.station, w.step.family) == (work.step.station, work.step.family)
                ]
                assert not self.may_start(number, family)

    def job_is_consistent(self, piece: Piece) -> bool:
        """A finished job has done all its steps, any other has not."""
        return (piece.finished < 1 << 60) == all(work.state == "done" for work in piece.works)
