"""When each order of the demonstration was signed, accepted and released, and when it is due."""

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from labqueue.base.workdays import at
from labqueue.demo.calendars import Hours
from labqueue.demo.demand import Order
from orders import due
from orders.models import Practice

APPOINTMENTS = (time(8, 30), time(9, 15), time(10, 0), time(11, 30), time(13, 45), time(14, 30), time(16, 0))
# Share of the orders whose appointment asks for some days less than usual.
RUSHED = 0.5

# Of so many orders one waits longer than usual: for its signature, at the manager's desk, or for a part that is still
# to come; and one is cancelled. Not by chance, so that at any time there are some of each.
UNSIGNED = 25
ASKED_ABOUT = 25
LACKING = 25
CANCELLED = 100


class Timeline:
    """Sets the instants of orders as practices and the manager's desk would have."""

    def __init__(
        self, laboratory: Mapping[str, Any], practices: Sequence[Practice], first: date, zone: ZoneInfo
    ) -> None:
        self.ways = [due.way_to(practice) for practice in practices]
        self.rng = Random(3)  # noqa: S311 - a demonstration, not a secret
        self.desk = Hours(laboratory["shifts"]["early"], first, first + timedelta(days=180), zone)

    def lay(self, orders: Sequence[Order]) -> None:
        """Fill in the instants of every order."""
        for count, order in enumerate(orders):
            self._wait(order, count)
            self._promise(order, self.ways[order.practice])

    def _wait(self, order: Order, count: int) -> None:
        """For the signature, for the manager to accept and then to release; the desk's hours count in minutes."""
        chance = self.rng.uniform
        days = chance(1, 5) if count % UNSIGNED == 0 else 0
        order.signed = order.created + chance(2, 70) * 60 + days * 86_400
        if count % CANCELLED == 1:
            order.cancelled = order.signed + 1800
            order.accepted = order.released = float("inf")
            return
        order.accepted = self.desk.after(order.signed, chance(300, 900) if count % ASKED_ABOUT == 2 else chance(5, 60))
        order.released = self.desk.after(order.accepted, chance(300, 900) if count % LACKING == 3 else chance(2, 40))

    def _promise(self, order: Order, way: due.Way) -> None:
        signed = datetime.fromtimestamp(order.signed, UTC)
        makes = [piece.make for piece in order.pieces]
        usual = due.promise_for(way, None, makes, signed).seat_from
        day = way.practice.shift(usual, -self.rng.choice((2, 2, 3, 3)) if self.rng.random() < RUSHED else order.slack)
        while due.leave_by(way, day) <= signed:
            day = way.practice.shift(day, 1)
        order.seat_at = at(day, self.rng.choice(APPOINTMENTS), way.practice_zone)
        order.due = due.promise_for(way, order.seat_at, makes, signed).due_at.timestamp()
