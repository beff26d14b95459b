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

# Shares of the orders that wait for days for a signature, and that are cancelled soon after it.
UNSIGNED = 0.015
CANCELLED = 0.01


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
        for order in orders:
            order.signed = order.created + self.rng.uniform(2, 70) * 60
            fate = self.rng.random()
            if fate < UNSIGNED:
                order.signed += self.rng.uniform(1, 3) * 86_400
            elif fate < UNSIGNED + CANCELLED:
                order.cancelled = order.signed + 1800
            order.accepted = self.desk.after(order.signed, self.rng.uniform(5, 60))
            order.released = self.desk.after(order.accepted, self.rng.uniform(2, 40))
            if order.cancelled < float("inf"):
                order.accepted = order.released = float("inf")
            self._promise(order, self.ways[order.practice])

    def _promise(self, order: Order, way: due.Way) -> None:
        signed = datetime.fromtimestamp(order.signed, UTC)
        makes = [piece.make for piece in order.pieces]
        usual = due.promise_for(way, None, makes, signed).seat_from
        day = way.practice.shift(usual, -self.rng.choice((2, 2, 3, 3)) if self.rng.random() < RUSHED else order.slack)
        order.seat_at = at(day, self.rng.choice(APPOINTMENTS), way.practice_zone)
        order.due = due.promise_for(way, order.seat_at, makes, signed).due_at.timestamp()
