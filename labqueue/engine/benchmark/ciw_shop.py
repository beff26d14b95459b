"""A shop document as a Ciw network, as far as Ciw can state it.

A class of customers for each route and a node for each station. It covers: routes that visit each station at most once,
`fifo`, one resource for each station that is always open or works one shift a day from now on, rework as routing
probabilities, arrivals at all hours with exponential gaps. Not: open jobs, loads, joins, pure waiting, other rules.
"""

import math
from typing import Any

import ciw

from labqueue.engine.benchmark.opening import hours_of_resource
from labqueue.engine.benchmark.result import NotCovered, Result
from labqueue.engine.calendars import FOREVER
from labqueue.engine.distributions import Distribution
from labqueue.engine.jobs import Arrival
from labqueue.engine.resources import Resource
from labqueue.engine.routes import Route
from labqueue.engine.shop import Shop

DAY = 1440.0
SERVED = ["service", "interrupted service"]


class CiwShop:
    """The network of one shop; `run` simulates one replication."""

    label = "Ciw"

    def __init__(self, shop: Shop) -> None:
        """Raises NotCovered where the shop uses what Ciw cannot state."""
        _check_covered(shop)
        self.shop = shop
        self.stations = list(shop.stations)
        self.classes = [entry.route for entry in shop.arrivals]
        self.network = ciw.create_network(
            arrival_distributions={entry.route: self._arrivals(entry) for entry in shop.arrivals},
            service_distributions={name: self._services(shop.routes[name]) for name in self.classes},
            routing={name: self._routing(shop.routes[name]) for name in self.classes},
            number_of_servers=[_servers(shop, shop.serving(station)[0]) for station in self.stations],
        )

    def _arrivals(self, entry: Arrival) -> list[Any]:
        first = self.shop.routes[entry.route].steps[0].station
        gap = _distribution(entry.between)
        return [gap if station == first else None for station in self.stations]

    def _services(self, route: Route) -> list[Any]:
        times = {step.station: _distribution(step.minutes) for step in route.steps}
        return [times.get(station, ciw.dists.Deterministic(0.0)) for station in self.stations]

    def _routing(self, route: Route) -> list[list[float]]:
        index = {station: i for i, station in enumerate(self.stations)}
        matrix = [[0.0] * len(index) for _ in index]
        for i, step in enumerate(route.steps):
            row = matrix[index[step.station or ""]]
            if i + 1 < len(route.steps):
                row[index[route.steps[i + 1].station or ""]] += 1.0 - step.fail_probability
            if step.fail_probability:
                row[index[route.steps[step.back_to].station or ""]] += step.fail_probability
        return matrix

    def run(self, seed: int) -> Result:
        """Simulate one replication with its own random numbers."""
        ciw.seed(seed)
        simulation = ciw.Simulation(self.network)
        simulation.simulate_until_max_time(self.shop.horizon_minutes)
        waited, started = self._waits(simulation)
        flow, finished, late = self._flows(simulation)
        return Result([], waited, started, 0, flow, finished, late)

    def _waits(self, simulation: Any) -> tuple[list[float], list[int]]:
        """Minutes waited and starts at each station; a visit that was interrupted has several records."""
        first: dict[tuple[int, int, float], float] = {}
        for record in simulation.get_all_records(only=SERVED, include_incomplete=True):
            start = record.service_start_date
            if start is not None and start is not False and not math.isnan(start):
                visit = (record.id_number, record.node, record.arrival_date)
                first[visit] = min(start, first.get(visit, math.inf))
        waited, started = [0.0] * len(self.stations), [0] * len(self.stations)
        for (_, node, arrival), start in first.items():
            if start >= self.shop.warm_up_minutes:
                waited[node - 1] += start - arrival
                started[node - 1] += 1
        return waited, started

    def _flows(self, simulation: Any) -> tuple[list[float], list[int], list[int]]:
        entries = range(len(self.classes))
        flow, finished, late = [0.0 for _ in entries], [0 for _ in entries], [0 for _ in entries]
        dues = [entry.due.numbers[0] if entry.due else math.inf for entry in self.shop.arrivals]
        for customer in simulation.nodes[-1].all_individuals:
            came, left = customer.data_records[0].arrival_date, customer.data_records[-1].exit_date
            if left >= self.shop.warm_up_minutes:
                entry = self.classes.index(customer.customer_class)
                flow[entry] += left - came
                finished[entry] += 1
                late[entry] += left - came > dues[entry]
        return flow, finished, late


def _servers(shop: Shop, resource: Resource) -> Any:
    """The number of servers, or the daily shift in which they work."""
    calendar = shop.calendars[resource.calendar]
    if calendar.spans(shop.now, 0, shop.horizon) == [(-FOREVER, FOREVER)]:
        return resource.count
    hours = hours_of_resource(shop, resource).ahead()
    shift = hours[0][1]
    daily = [(day * DAY, day * DAY + shift) for day in range(len(hours))]
    if hours != daily or not resource.pauses:
        raise NotCovered(f"resources.{resource.name}: not one shift a day from now on")
    return ciw.Schedule([resource.count, 0], [shift, DAY], preemption="resume")


def _distribution(dist: Distribution) -> Any:
    numbers = dist.numbers
    if dist.kind == "exponential":
        return ciw.dists.Exponential(1 / numbers[0])
    if dist.kind == "gamma":
        return ciw.dists.Gamma(numbers[1], numbers[0] / numbers[1])
    if dist.kind == "lognormal":
        return ciw.dists.Lognormal(math.log(numbers[0]) - numbers[1] ** 2 / 2, numbers[1])
    kinds = {"fixed": ciw.dists.Deterministic, "triangular": ciw.dists.Triangular, "uniform": ciw.dists.Uniform}
    if dist.kind not in kinds:
        raise NotCovered(f"a distribution: {dist.kind}")
    return kinds[dist.kind](*numbers)


def _check_covered(shop: Shop) -> None:
    if shop.jobs:
        raise NotCovered("jobs: a network of Ciw begins empty")
    for entry in shop.arrivals:
        if entry.between.kind != "exponential" or not shop.calendars[entry.calendar].always:
            raise NotCovered(f'arrivals of "{entry.route}": gaps that are not exponential, or not at all hours')
    for route in shop.routes.values():
        visited = [step.station for step in route.steps]
        if None in visited or len(set(visited)) < len(visited):
            raise NotCovered(f'routes."{route.name}": pure waiting, or a station visited twice')
        if any(step.after != ((i - 1,) if i else ()) for i, step in enumerate(route.steps)):
            raise NotCovered(f'routes."{route.name}": steps side by side')
    for name, rule in shop.stations.items():
        serving = shop.serving(name)
        if rule != "fifo" or len(serving) != 1 or len(serving[0].stations) != 1 or serving[0].load:
            raise NotCovered(f"stations.{name}: a rule, a load, or a resource that is not its own alone")
