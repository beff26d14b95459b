"""Machine code of a kernel: linked by LLVM's loader and called by numba's calling convention, without numba.

A compiled function takes a pointer to its result and one to a pointer that describes an error, then its arguments:
whole and floating numbers as they are, an array as (owner, object, items, bytes of an item, data, shape, strides), a
tuple as its items. It returns 0 where no error was raised.
"""

import ctypes
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from hashlib import blake2b
from typing import Any

import llvmlite.binding as llvm  # type: ignore[import-untyped]
import numpy as np

Entry = Callable[[tuple[Any, ...]], Any]
RESULTS: dict[str, Any] = {"int64": ctypes.c_int64, "float64": ctypes.c_double, "none": ctypes.c_void_p}
NUMBERS: dict[type, Any] = {np.uint64: ctypes.c_uint64, float: ctypes.c_double, int: ctypes.c_int64}
_linked: list[Any] = []
"""Kept, so that the code stays where it is."""


@dataclass(frozen=True)
class MachineCode:
    """An object file, the symbol of the function in it, the type of its result, and the symbols it needs."""

    symbol: str
    result: str
    outside: list[str]
    object_file: bytes

    def to_bytes(self) -> bytes:
        """One line of JSON, with a digest, and the object file."""
        digest = blake2b(self.object_file, digest_size=16).hexdigest()
        return json.dumps([self.symbol, self.result, self.outside, digest]).encode() + b"\n" + self.object_file

    @classmethod
    def from_bytes(cls, raw: bytes) -> "MachineCode | None":
        """None where the bytes are not whole."""
        head, _, object_file = raw.partition(b"\n")
        try:
            symbol, result, outside, digest = json.loads(head)
        except (ValueError, TypeError):
            return None
        whole = digest == blake2b(object_file, digest_size=16).hexdigest()
        return cls(symbol, result, outside, object_file) if whole else None


def host() -> str:
    """What the code of this machine depends on: its processor and what that can do."""
    return f"{llvm.get_process_triple()} {llvm.get_host_cpu_name()} {llvm.get_host_cpu_features().flatten()}"


def target_machine() -> Any:
    """LLVM's description of this machine."""
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    return llvm.Target.from_triple(llvm.get_process_triple()).create_target_machine(
        cpu=llvm.get_host_cpu_name(),
        features=llvm.get_host_cpu_features().flatten(),
        opt=3,
        reloc="static",
        codemodel="jitdefault",
        jit=True,
    )


def link(code: MachineCode) -> Entry:
    """Load the code into this process; the function takes its arguments as one tuple.

    Raises ImportError where a symbol that it needs is not there: LLVM would end the process.
    """
    engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), target_machine())
    if missing := [name for name in code.outside if not llvm.address_of_symbol(name)]:
        raise ImportError(f"compiled code needs {', '.join(missing)}, which this system does not have")
    engine.add_object_file(llvm.ObjectFileRef.from_data(code.object_file))
    engine.finalize_object()
    _linked.append(engine)
    # Called this way, the interpreter's lock is not held.
    function = ctypes.CFUNCTYPE(ctypes.c_int32)(engine.get_function_address(code.symbol))
    result_type = RESULTS[code.result]

    def entry(arguments: tuple[Any, ...]) -> Any:
        result, error = result_type(), ctypes.c_void_p()
        if function(ctypes.byref(result), ctypes.byref(error), *flat(arguments)):
            raise RuntimeError("compiled code raised an error")
        return result.value

    return entry


def kind_of(argument: Any) -> Any:
    """What the code of a kernel depends on in one of its arguments."""
    if isinstance(argument, np.ndarray):
        return argument.dtype, argument.ndim, argument.flags.c_contiguous, argument.flags.writeable
    if isinstance(argument, tuple):
        return tuple(map(kind_of, argument))
    return next(kind for kind in NUMBERS if isinstance(argument, kind))


def flat(arguments: tuple[Any, ...]) -> Iterator[Any]:
    """The arguments as the calling convention lays them out."""
    for argument in arguments:
        if isinstance(argument, tuple):
            yield from flat(argument)
        elif isinstance(argument, np.ndarray):
            yield from (ctypes.c_void_p(), ctypes.c_void_p())
            yield from (ctypes.c_int64(argument.size), ctypes.c_int64(argument.itemsize))
            yield ctypes.c_void_p(argument.ctypes.data)
            yield from map(ctypes.c_int64, argument.shape + argument.strides)
        else:
            yield NUMBERS[kind_of(argument)](argument)
