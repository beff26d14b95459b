"""The plan: a compiled shop, with room for what happens in it."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from labqueue.engine.calendars import MINUTE, since
from labqueue.engine.hall import Hours, bit_arrays, resource_arrays, station_rows
from labqueue.engine.histogram import bin_number
from labqueue.engine.numbering import Numbers, Places, column, records
from labqueue.engine.reading import ShopError
from labqueue.engine.resources import MOST_UNITS
from labqueue.engine.seats import find_seats
from labqueue.engine.shop import Shop
from labqueue.engine.state import INDEX, NEVER, NODE, QUEUE, WAITER
from labqueue.engine.workload import (
    arrival_rows,
    expected_arrivals,
    job_arrays,
    longest_route,
    queue_rows,
    route_arrays,
    running_rows,
    whole_lines,
)

MOST_EVENTS = 100_000_000
"""Events of one replication after which it is given up."""
BATCHES = 20
"""Parts of the measured time whose figures serve for intervals where there are too few replications."""
ENOUGH_REPLICATIONS = 10
MOST_LOGGED = 400_000
"""Waits and flows kept one by one, over all replications; beyond, their histogram serves for the 95 % points."""

FIRST_BLOCKS = 4
"""How many times as many places as steps can wait, at first."""
FEWEST_PLACES = 1024
"""Places for the groups of waiting steps, beside those for as many steps as can wait."""


@dataclass(frozen=True)
class Sizes:
    """Room for what grows while a replication runs."""

    slots: int
    timers: int
    log: int
    """Single waits and flows of a slice of replications; 0 where they are counted in the histogram."""
    blocks: int
    """Places for the groups of waiting steps, as a multiple of the steps that can wait in them."""


@dataclass(frozen=True)
class Plan:
    """A compiled shop: the arrays as they stand at now, and the figures' denominators."""

    shop: Shop
    replications: int
    arrays: dict[str, Any]
    sizes: Sizes
    counters: dict[str, int]
    open_time: list[int]
    """Open microseconds of each resource within the measured time, times its count."""


def compile_shop(shop: Shop, replications: int, sizes: Sizes | None = None) -> Plan:
    """Number and lay out a shop; `sizes` where a first guess was too small."""
    seats = find_seats(shop.jobs, shop.routes, shop.resources, shop.calendars, shop.now)
    places, numbers, hours = Places.of(shop), Numbers(), Hours.of(shop, seats)
    coming = expected_arrivals(shop, hours)
    stride = longest_route(shop.routes.values())
    expected_starts = sum(len(shop.routes[job.route].steps) for job in shop.jobs) + coming * (stride + 1)
    sizes = sizes or _first_sizes(shop, coming, expected_starts)
    arrays: dict[str, Any] = {**hours.arrays(), **bit_arrays(shop, hours), **route_arrays(shop, places, numbers)}
    arrays |= job_arrays(shop, places, numbers, sizes.slots, stride)
    arrays["running"] = running_rows(shop, seats, arrays["step"][: _file_steps(shop)], numbers, hours)
    arrays["arrival"] = arrival_rows(shop, places, numbers, hours)
    arrays["station"] = station_rows(shop, places)
    queues, room, in_groups = queue_rows(shop, places, sizes.slots)
    blocks = whole_lines(sizes.blocks * (in_groups + FEWEST_PLACES)) if in_groups else 0
    arrays["queue"] = records(queues, QUEUE)
    arrays["waiter"] = np.zeros(room + blocks + 2 * in_groups + 64, dtype=WAITER)
    arrays["block"] = column([-1] * 16, INDEX)
    arrays["slot"] = column([*range(1, sizes.slots), -1][: sizes.slots], INDEX)
    leaves = _leaves(shop, len(hours.spans))
    arrays |= resource_arrays(shop, places, hours, leaves["timer_leaf"])
    batches = 1 if replications >= ENOUGH_REPLICATIONS else BATCHES
    arrays |= _events(hours, leaves, arrays) | numbers.arrays()
    leaves["soonest"] = int(arrays["node"]["event"][1])
    counters = leaves | _counters(shop, arrays, sizes, batches, stride)
    counters |= {"block_end": room, "spare_block": room + blocks}
    counters["keeps_log"] = int(sizes.log > 0 and expected_starts * replications <= MOST_LOGGED)
    return Plan(shop, replications, arrays, sizes, counters, _open_time(shop, hours))


def _first_sizes(shop: Shop, coming: float, starts: float) -> Sizes:
    slots = min(int(coming + 6 * coming**0.5) + 16, 8192) if shop.arrivals else 0
    return Sizes(slots, 2 * _file_steps(shop) + 4 * slots + 64, int(30 * starts) + 1024, FIRST_BLOCKS)


def _file_steps(shop: Shop) -> int:
    return sum(len(shop.routes[job.route].steps) for job in shop.jobs)


def _open_time(shop: Shop, hours: Hours) -> list[int]:
    found = []
    for resource in shop.resources:
        spans = hours.spans[hours.number(resource)]
        opened = sum(max(min(end, shop.horizon) - max(begin, shop.warm_up), 0) for begin, end in spans)
        found.append(opened * resource.count)
    return found


def _leaves(shop: Shop, calendars: int) -> dict[str, int]:
    """Where in the tree of events each kind of leaf begins."""
    units = sum(resource.count for resource in shop.resources)
    first_calendar = units + 2
    first_arrival = first_calendar + calendars
    first_timer = first_arrival + len(shop.arrivals)
    leaf_bits = max((first_timer + 2 * len(shop.resources) - 1).bit_length(), 1)
    if (shop.horizon + 1) << leaf_bits >= 1 << 63:
        most = ((1 << 63 - leaf_bits) - 1) // MINUTE
        raise ShopError(f"horizon_minutes: must be at most {most} in a shop of so many resources")
    return {
        "units_end": units,
        "waits_leaf": units,
        "release_leaf": units + 1,
        "calendar_leaf": first_calendar,
        "arrival_leaf": first_arrival,
        "timer_leaf": first_timer,
        "clock_leaf": first_timer + len(shop.resources),
        "leaves": 1 << leaf_bits,
        "leaf_bits": leaf_bits,
        "latest": shop.horizon + 1,
    }


def _counters(shop: Shop, arrays: dict[str, Any], sizes: Sizes, batches: int, stride: int) -> dict[str, int]:
    """The counters of the world as they stand at now; what is not named begins at 0."""
    batch = (shop.horizon - shop.warm_up) // batches + 1
    return {
        "horizon": shop.horizon,
        "warm_up": shop.warm_up,
        "batch": batch,
        "batch_end": shop.warm_up + batch,
        "batches": batches,
        "most_events": MOST_EVENTS,
        "order": len(shop.jobs),
        "jobs": len(shop.jobs),
        "steps": _file_steps(shop),
        "stride": stride,
        "stations": len(shop.stations),
        "queues": len(arrays["queue"]),
        "resources": len(shop.resources),
        "arrivals": len(shop.arrivals),
        "releases": len(arrays["release"]),
        "runnings": len(arrays["running"]),
        "words": len(arrays["free"]),
        "timer_room": sizes.timers,
        "least_units": min([MOST_UNITS, *(j.units for j in shop.jobs), *(entry.units for entry in shop.arrivals)]),
        "log_room": sizes.log,
        "bins": histogram_bins(shop),
        "free_slot": 0 if sizes.slots else -1,
        "free_group": -1,
    }


def _events(hours: Hours, leaves: dict[str, int], arrays: dict[str, Any]) -> dict[str, Any]:
    """The arrays `node` as they stand at now, before work under way and arrivals are drawn."""
    count = leaves["leaves"]
    node = np.zeros(2 * count, dtype=NODE)
    event = node["event"]
    times = dict.fromkeys(range(count), NEVER)
    if len(arrays["release"]):
        times[leaves["release_leaf"]] = int(arrays["release"][0]["time"])
    for number in range(len(hours.spans)):
        times[leaves["calendar_leaf"] + number] = hours.next_change(number)
    for number, resource in enumerate(arrays["resource"]):
        if resource["clock0"] < resource["clock1"]:
            times[leaves["clock_leaf"] + number] = int(arrays["clock"][resource["clock0"]]["time"])
    for leaf, time in times.items():
        event[count + leaf] = (min(time, leaves["latest"]) << leaves["leaf_bits"]) | leaf
    for number in range(count - 1, 0, -1):
        event[number] = min(event[2 * number], event[2 * number + 1])
    return {"node": node}


def histogram_bins(shop: Shop) -> int:
    """The number of bins that holds the longest wait: from the earliest `ready` to the horizon."""
    oldest = min((since(shop.now, job.ready) for job in shop.jobs if job.ready is not None), default=0)
    return bin_number(shop.horizon - oldest) + 1
