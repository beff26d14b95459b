"""Memory for one call of the kernel: a world record that points to the arrays of the plan and to arrays of its own."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from labqueue.engine.numbering import Records
from labqueue.engine.plan import Plan
from labqueue.engine.state import (
    ABLE_STEP,
    ARRAYS,
    CHANGING,
    FIXED,
    GROUP,
    INDEX,
    SEATED,
    START,
    TIMER,
    WAITER,
    WORLD,
)

Words = NDArray[np.int64]


@dataclass(frozen=True)
class Memory:
    """The arguments of the kernel, and the arrays of figures it fills."""

    world: Records
    first_world: Records
    changing: tuple[Words, ...]
    originals: tuple[Words, ...]
    figures: dict[str, Any]
    scratch: dict[str, Any]
    """Kept, so that the addresses stay good."""


def allot(plan: Plan, replications: int) -> Memory:
    """Fresh memory for a slice of `replications`; the plan's fixed arrays are shared, not copied.

    Of the jobs and steps only those of the file are put back: the places of arrivals are filled when one comes.
    """
    small, offsets = _one_block({name: plan.arrays[name] for name in CHANGING if name not in ("job", "step")})
    jobs, steps = plan.arrays["job"], plan.arrays["step"]
    originals = (small, _words(jobs[: plan.counters["jobs"]]), _words(steps[: plan.counters["steps"]]))
    changing = (_aligned(small), _aligned(_words(jobs)), _aligned(_words(steps)))
    figures = _figures(plan, replications)
    scratch = {
        "terms": plan.arrays["terms"].copy(),
        "seated": _room(len(steps), SEATED),
        "start": _room(plan.counters["units_end"], START),
        "waiter": _room(len(plan.arrays["waiter"]), WAITER),
        "timer": _room(plan.sizes.timers, TIMER),
        "hint": _room(len(plan.arrays["op"]), INDEX),
        "group": _room(len(steps) + 1, GROUP),
        "member": _room(len(steps), INDEX),
        "able": _room(2 * len(steps) + 16, ABLE_STEP),
        "job": changing[1],
        "step": changing[2],
    }
    world = np.zeros(1, dtype=WORLD)
    for name, value in plan.counters.items():
        world[name] = value
    for name, offset in offsets.items():
        world[name] = changing[0].ctypes.data + 8 * offset
    for name, array in (figures | scratch | {name: plan.arrays[name] for name in FIXED}).items():
        world[name] = array.ctypes.data
    return Memory(world, world.copy(), changing, originals, figures, scratch)


def _words(array: Records) -> Words:
    """An array of records as words of 8 bytes, of which each record has a whole number."""
    words: Words = np.ascontiguousarray(array).view(np.int64).ravel()
    return words


def _aligned(words: Words) -> Words:
    """A copy that begins at a line of the cache."""
    room: Words = _room(len(words), np.dtype(np.int64))
    room[:] = words
    return room


def _room(count: int, dtype: np.dtype[Any]) -> Any:
    """An array of zeros that begins at a multiple of 64 bytes, the length of a line of the cache."""
    room = np.zeros(count * dtype.itemsize + 64, dtype=np.uint8)
    begin = -room.ctypes.data % 64
    return room[begin : begin + count * dtype.itemsize].view(dtype)


def _one_block(arrays: dict[str, Records]) -> tuple[Words, dict[str, int]]:
    """The words of some arrays end to end, and where each begins, at a multiple of 8 words."""
    offsets: dict[str, int] = {}
    end = 0
    for name, array in arrays.items():
        offsets[name] = end
        end += (array.nbytes + 63) // 64 * 8
    block = np.zeros(end, dtype=np.int64)
    for name, array in arrays.items():
        block.view(np.uint8)[8 * offsets[name] :][: array.nbytes] = np.ascontiguousarray(array).view(np.uint8).ravel()
    return block, offsets


def _figures(plan: Plan, replications: int) -> dict[str, Any]:
    """Arrays of zeros for the figures, in the shapes that Books names."""
    shop, counters = plan.shop, plan.counters
    keeps_log = bool(counters["keeps_log"])
    groups = len(shop.stations) + len(shop.arrivals)
    shapes: dict[str, tuple[int, ...]] = {
        "completion": (replications, len(shop.jobs)),
        "wait": (replications, counters["batches"], len(shop.stations)),
        "use": (replications, len(shop.stations)),
        "work": (replications, len(shop.resources)),
        "flow": (replications, counters["batches"], len(shop.arrivals)),
        "step_wait": (counters["steps"],),
        "log": (plan.sizes.log if keeps_log else 0,),
        "bin": (groups, 0 if keeps_log else counters["bins"]),
    }
    return {name: np.zeros(shape, dtype=ARRAYS[name]) for name, shape in shapes.items()}
