"""An order as the rules look at it, and what they find."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property
from typing import NamedTuple
from zoneinfo import ZoneInfo

from django.utils import timezone

from orders.checks import unknown_words
from orders.facts import OrderFacts
from orders.limits import Wrong
from orders.materials import Stage
from orders.models import Attachment, Case, Item, Practice, Prescription


class Spot(NamedTuple):
    """Where a rule speaks (`items.0.material`), what it says, and the line of the piece; 0 is the whole order."""

    field: str
    why: str
    line: int = 0


@dataclass(frozen=True)
class Look:
    """An order at a moment: what was said, the rows that it becomes, and what is known of it beside.

    `origin` is the earlier case that it follows.
    """

    order: OrderFacts
    practice: Practice
    prescription: Prescription
    pieces: Sequence[Item]
    case: Case | None = None
    origin: Case | None = None
    now: datetime = field(default_factory=timezone.now)

    @cached_property
    def sound(self) -> list[tuple[int, Item]]:
        """The pieces whose words are all known, each with its place in the order. Only these can be judged."""
        staged = self.order.stage in Stage.values
        return [(at, one) for at, one in enumerate(self.pieces) if staged and not any(unknown_words(one))]

    @cached_property
    def files(self) -> frozenset[str]:
        """The roles of the files that came with the case and can be used."""
        ready = Attachment.objects.filter(case=self.case, state=Attachment.State.READY, withdrawn_at=None)
        return frozenset(ready.values_list("role", flat=True) if self.case else ())

    @property
    def teeth(self) -> set[int]:
        """The teeth (FDI) that could be read."""
        return {item.tooth for item in self.pieces if item.tooth}

    @property
    def today(self) -> date:
        """The day at the practice."""
        return timezone.localdate(self.now, ZoneInfo(self.practice.time_zone))

    def on(self, tooth: int, *kinds: str) -> list[Item]:
        """The pieces of these kinds on a tooth."""
        return [item for _, item in self.sound if item.tooth == tooth and item.kind in kinds]


Find = Callable[[Look], Iterator[Spot]]


def each(find: Callable[[Item, Look], Iterator[Wrong]]) -> Find:
    """The rule of a single piece, asked of all whose tooth is known."""

    def found(look: Look) -> Iterator[Spot]:
        for index, item in look.sound:
            if item.tooth:
                yield from (Spot(f"items.{index}.{one.field}", one.why, item.line) for one in find(item, look))

    return found
