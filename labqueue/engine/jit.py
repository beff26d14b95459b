"""Marks for what is compiled. The compiler itself, numba, is loaded only where no finished code is kept.

A process that finds the code of its kernels on disk starts in a tenth of the time that loading numba takes.
"""

from collections.abc import Callable
from functools import cached_property, update_wrapper
from threading import RLock
from typing import Any, TypeVar, cast

import numpy as np

from labqueue.engine import kept_code
from labqueue.engine.machine_code import Entry, kind_of, link

Function = TypeVar("Function", bound=Callable[..., Any])
_LOCK = RLock()


class Mark:
    """Stands where compiled code names a function; `made` is what numba takes for it, made when it first compiles."""

    def __init__(self, make: Callable[[], Any]) -> None:
        self._make = make

    @cached_property
    def made(self) -> Any:
        """The function as numba knows it."""
        return self._make()


class Kernel(Mark):
    """A compiled function that Python calls; it runs without the interpreter's lock.

    Its code is found on disk or compiled at the first call with arguments of a kind.
    """

    def __init__(self, function: Callable[..., Any]) -> None:
        super().__init__(lambda: _compiling().inner(function))
        update_wrapper(self, function)
        self._function = function
        self._entries: dict[Any, Entry] = {}

    def __call__(self, *arguments: Any) -> Any:
        kind = tuple(map(kind_of, arguments))
        entry = self._entries.get(kind) or self._entry(kind, arguments)
        return entry(arguments)

    def _entry(self, kind: tuple[Any, ...], arguments: tuple[Any, ...]) -> Entry:
        with _LOCK:
            if kind not in self._entries:
                name = kept_code.name_of(self._function, kind)
                code = kept_code.read(name)
                if code is None:
                    code = _compiling().machine_code(self._function, arguments)
                    kept_code.write(name, code)
                self._entries[kind] = link(code)
        return self._entries[kind]


def _compiling() -> Any:
    from labqueue.engine import compiling

    return compiling


def kernel(function: Function) -> Function:
    """Compile a function that Python calls."""
    return cast(Function, Kernel(function))


def helper(function: Function) -> Function:
    """Compile a small function that kernels call; it becomes part of its caller."""
    return cast(Function, Mark(lambda: _compiling().helper(function)))


def rare(function: Function) -> Function:
    """Compile a function that kernels call seldom; it stays a function of its own, to keep the kernel small."""
    return cast(Function, Mark(lambda: _compiling().rare(function)))


def accessor(world: np.dtype[np.void], array: str, item: np.dtype[np.void]) -> Callable[[Any, int], Any]:
    """A function (s, index) that gives an item of an array, for compiled code only.

    `s` is a record of type `world` whose field `array` holds the address of records of type `item`. The result is a
    pointer to the record: reading and writing its fields reads and writes the array. Nothing is counted, copied or
    checked, so that a compiled function can be given a whole shop as one pointer.
    """
    return cast(Callable[[Any, int], Any], Mark(lambda: _compiling().accessor(world, array, item)))


def _given(name: str) -> Any:
    """A function that the compiler brings."""
    return Mark(lambda: getattr(_compiling(), name))


trailing_zeros: Callable[[Any], int] = _given("trailing_zeros")
"""The number of the lowest bit that is set; for compiled code only."""
leading_zeros: Callable[[Any], int] = _given("leading_zeros")
"""How many bits above the highest one that is set; for compiled code only."""
bits_of: Callable[[float], int] = _given("bits_of")
"""The 64 bits of a floating number; for compiled code only."""


@helper
def bit_length(number: int) -> int:
    """The number of bits of a whole number of 64 bits that is not negative; for compiled code only."""
    return 64 - int(leading_zeros(number))


@helper
def ordered(number: float) -> int:
    """A whole number for each floating one, in the same order; for compiled code only."""
    bits = int(bits_of(number + 0.0))
    return bits if bits >= 0 else bits ^ ((1 << 63) - 1)
