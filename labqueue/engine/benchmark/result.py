"""What a replication of a program that is compared with the engine gives."""

from dataclasses import dataclass


class NotCovered(Exception):
    """The shop uses something that this program does not know."""


@dataclass
class Result:
    """What one replication gives; minutes from now, infinite for a job not finished."""

    completions: list[float]
    waited: list[float]
    started: list[int]
    pure_waits: int
    flow: list[float]
    finished: list[int]
    late: list[int]

    @property
    def operations(self) -> int:
        """Steps started, those without a station included."""
        return sum(self.started) + self.pure_waits
