"""Memory for one call of the kernel: a world record that points to the arrays of the plan and to arrays of its own."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from labqueue.engine.numbering import Records
from labqueue.engine.plan import Plan
from labqueue.engine.state import ABLE_STEP, ARRAYS, CHANGING, FIXED, TIMER, WORLD


@dataclass(frozen=True)
class Memory:
    """The arguments of the kernel, and the arrays of figures it fills."""

    world: Records
    first_world: Records
    changing: NDArray[np.int64]
    first_changing: NDArray[np.int64]
    figures: dict[str, Any]
    scratch: dict[str, Any]
    """Kept, so that the addresses stay good."""


def allot(plan: Plan, replications: int) -> Memory:
    """Fresh memory for a slice of `replications`; the plan's fixed arrays are shared, not copied."""
    first_changing, offsets = _one_block(plan)
    changing = first_changing.copy()
    figures = _figures(plan, replications)
    scratch = {
        "waiter": np.zeros_like(plan.arrays["waiter"]),
        "timer": np.zeros(plan.sizes.timers, dtype=TIMER),
        "able": np.zeros(2 * len(plan.arrays["step"]) + 16, dtype=ABLE_STEP),
    }
    world = np.zeros(1, dtype=WORLD)
    for name, value in plan.counters.items():
        world[name] = value
    for name, offset in offsets.items():
        world[name] = changing.ctypes.data + offset
    for name, array in (figures | scratch | {name: plan.arrays[name] for name in FIXED}).items():
        world[name] = array.ctypes.data
    return Memory(world, world.copy(), changing.view(np.int64), first_changing.view(np.int64), figures, scratch)


def _one_block(plan: Plan) -> tuple[NDArray[np.uint8], dict[str, int]]:
    """The bytes of all arrays that change, as they are at now, and where each begins (at a multiple of 64)."""
    offsets: dict[str, int] = {}
    end = 0
    for name in CHANGING:
        offsets[name] = end
        end += (plan.arrays[name].nbytes + 63) // 64 * 64
    block = np.zeros(end, dtype=np.uint8)
    for name, offset in offsets.items():
        raw = np.ascontiguousarray(plan.arrays[name]).view(np.uint8).ravel()
        block[offset : offset + len(raw)] = raw
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
