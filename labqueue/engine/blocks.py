"""Room for the heaps of groups: blocks of 4, 16, 64 … places of `waiter`, used again when a group has ended."""

from typing import Any

from labqueue.engine.jit import helper, rare
from labqueue.engine.state import TOO_FEW_PLACES, State, block_at, waiter_at


@helper
def length_of(block: int) -> int:
    """The places of a block of a size class: 4 for 0, and four times as many for each class more."""
    return 4 << (2 * block)


@rare
def new_block(s: State, block: int) -> int:
    """The first place of a free block of a class.

    Where there is no more room the replication is given up; until the loop sees that, all that comes goes into the
    spare block at the end, which holds all that can wait. Groups overwrite each other there, but only with steps.
    """
    first = block_at(s, block).to
    if first >= 0:
        block_at(s, block).to = waiter_at(s, first).step
        return int(first)
    first = s.block_end
    if first + length_of(block) > s.spare_block:
        s.error = TOO_FEW_PLACES
        return int(s.spare_block)
    s.block_end = first + length_of(block)
    return int(first)


@helper
def free_block(s: State, block: int, first: int) -> None:
    """A block is used no longer."""
    if first != s.spare_block:
        waiter_at(s, first).step = block_at(s, block).to
        block_at(s, block).to = first


@rare
def larger_block(s: State, g: Any) -> None:
    """Move a group to a block of the next class."""
    first = new_block(s, g.block + 1)
    for place in range(g.size):
        to, source = waiter_at(s, first + place), waiter_at(s, g.first + place)
        to.key, to.step = source.key, source.step
    free_block(s, g.block, g.first)
    g.first, g.block = first, g.block + 1
