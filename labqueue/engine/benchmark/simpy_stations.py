"""Stations of the SimPy program: people and machines that take one job at a time."""

import math
from collections.abc import Generator
from typing import Any

import simpy

from labqueue.engine.benchmark.opening import Hours, hours_of_resource
from labqueue.engine.resources import Resource
from labqueue.engine.shop import Shop

FIRST: Any = -math.inf
"""The priority of what is seated or closed: before all jobs."""


class Station:
    """One station and the one resource that serves it; `reset` makes it ready for the next replication."""

    def __init__(self, shop: Shop, resource: Resource, rule: str) -> None:
        self.count = resource.count
        self.pauses = resource.pauses
        self.edd = rule == "edd"
        self.hours: Hours = hours_of_resource(shop, resource)
        self.warm_up = shop.warm_up_minutes

    def reset(self, env: Any) -> None:
        """Forget all work and begin at time 0."""
        self.env = env
        self.waited = 0.0
        self.started = 0
        self.units = simpy.PriorityResource(env, self.count)
        self.closes = math.inf
        """When a step that is begun now would be broken by closing; never where work does not pause."""

    def open_and_close(self) -> Generator[Any, Any, None]:
        """While closed, every free unit is taken by a request that comes before all jobs and goes at opening."""
        env, units = self.env, self.units
        for begin, end in [*self.hours.ahead(), (math.inf, math.inf)]:
            if begin > env.now:
                closed = [units.request(priority=FIRST) for _ in range(self.count)]
                yield env.timeout(begin - env.now)
                self.closes = end if self.pauses else math.inf
                for request in closed:
                    request.cancel()
                    units.release(request)
            elif self.pauses:
                self.closes = end
            yield env.timeout(end - env.now)

    def finish(self, now: float, minutes: float) -> float:
        """The instant at which work of `minutes` that goes on from now is finished."""
        return self.hours.over(now, minutes) if self.pauses else now + minutes
