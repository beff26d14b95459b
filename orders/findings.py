"""What is found in an order: which rule speaks, how strongly, of which field, and what would satisfy it."""

import re
from dataclasses import dataclass
from enum import StrEnum

from labqueue.base.errors import Fault

# The rules of the trade have a number, which is said with them.
NUMBERED = re.compile(r"V\d\d")


class Severity(StrEnum):
    """What a finding does."""

    REFUSE = "refuse"  # nothing is written
    HOLD = "hold"  # the order is taken and stands still until it is answered
    OVERRIDE = "override"  # it is not signed unless a prescriber gives the reason
    WARN = "warn"  # it is not signed without a reason and a name
    ASK = "ask"  # it is left to the laboratory
    DEFAULT = "default"  # what is usual was filled in


# What is not signed without a reason.
REASONED = frozenset({Severity.OVERRIDE, Severity.WARN})


class Moment(StrEnum):
    """When a rule is asked."""

    ORDER = "order"  # as the order is written, and again when it is signed
    SIGN = "sign"
    RELEASE = "release"
    CONFIRM = "confirm"
    DESIGN = "design"
    FLOOR = "floor"


@dataclass(frozen=True)
class Finding:
    """One thing that was found. `line` is the line of the piece, 0 where the whole order is meant."""

    rule: str
    severity: Severity
    field: str
    sentence: str
    line: int = 0

    def __str__(self) -> str:
        return f"{self.rule}: {self.sentence}" if NUMBERED.fullmatch(self.rule) else self.sentence

    def fault(self) -> Fault:
        """As it is refused."""
        return Fault(self.rule, str(self), self.field)
