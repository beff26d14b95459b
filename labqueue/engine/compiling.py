"""The compiler: makes machine code of the marked functions. Only a process that has to compile imports this."""

import dis
from collections.abc import Callable, Iterator
from types import CodeType, FunctionType
from typing import Any, cast

import llvmlite.binding as llvm  # type: ignore[import-untyped]
import numba
import numpy as np
from llvmlite import ir
from numba.cpython.unsafe.numbers import leading_zeros as leading_zeros
from numba.cpython.unsafe.numbers import trailing_zeros as trailing_zeros
from numba.extending import intrinsic

from labqueue.engine.apart import ApartCompiler
from labqueue.engine.jit import Mark
from labqueue.engine.machine_code import MachineCode, target_machine

OPTIONS: dict[str, Any] = {
    "error_model": "numpy",
    "nogil": True,
    # Python never calls these functions, but by their address; and they own no memory that is counted.
    "no_cpython_wrapper": True,
    "no_cfunc_wrapper": True,
    "_nrt": False,
}


def inner(function: Callable[..., Any], **options: Any) -> Any:
    """A function as numba takes it, to be called by compiled code."""
    return numba.njit(**OPTIONS, **options)(bound(function))


def helper(function: Callable[..., Any]) -> Any:
    """The same, copied into its callers."""
    return inner(function, forceinline=True)


def rare(function: Callable[..., Any]) -> Any:
    """The same, never copied into its callers."""
    return inner(function, forceinline=False, pipeline_class=ApartCompiler)


def bound(function: Callable[..., Any]) -> FunctionType:
    """A copy of a function for which all marks that it names are made."""
    given = cast(FunctionType, function)
    found = {name: given.__globals__.get(name) for name in _names(given.__code__)}
    made = {name: value.made for name, value in found.items() if isinstance(value, Mark)}
    copy = FunctionType(given.__code__, given.__globals__ | made, given.__name__, given.__defaults__, given.__closure__)
    copy.__module__, copy.__qualname__ = given.__module__, given.__qualname__
    return copy


def _names(code: CodeType) -> Iterator[str]:
    """The global names that a function and those inside it use."""
    yield from (step.argval for step in dis.get_instructions(code) if step.opname == "LOAD_GLOBAL")
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield from _names(constant)


def machine_code(function: Callable[..., Any], arguments: tuple[Any, ...]) -> MachineCode:
    """The code of a function for arguments of these types."""
    type_of: Any = numba.typeof
    signature = tuple(map(type_of, arguments))
    dispatcher = inner(function)
    dispatcher.compile(signature)
    found = dispatcher.overloads[signature]
    module = llvm.parse_assembly(dispatcher.inspect_llvm(signature))
    outside = [f.name for f in module.functions if f.is_declaration and not f.name.startswith("llvm.")]
    return MachineCode(
        found.fndesc.llvm_func_name, str(found.signature.return_type), outside, target_machine().emit_object(module)
    )


@intrinsic  # type: ignore[untyped-decorator, unused-ignore]
def bits_of(typing: Any, number: Any) -> Any:
    """The 64 bits of a floating number."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        return builder.bitcast(arguments[0], ir.IntType(64))

    return numba.types.int64(numba.types.float64), generate


def accessor(world: np.dtype[np.void], array: str, item: np.dtype[np.void]) -> Any:
    """See `jit.accessor`."""
    offset = world.fields[array][1] if world.fields else 0
    item_type = numba.from_dtype(item)

    @intrinsic  # type: ignore[untyped-decorator, unused-ignore]
    def at(typing: Any, s: Any, index: Any) -> Any:
        def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
            byte, word = ir.IntType(8).as_pointer(), ir.IntType(64)
            field = builder.gep(builder.bitcast(arguments[0], byte), [ir.Constant(word, offset)])
            address = builder.load(builder.bitcast(field, word.as_pointer()))
            # The address never changes, whatever the kernel writes: the compiler need not load it again.
            address.set_metadata("invariant.load", builder.module.add_metadata([]))
            number = arguments[1] if signature.args[1].bitwidth == 64 else builder.sext(arguments[1], word)
            place = builder.add(address, builder.mul(number, ir.Constant(word, item.itemsize)))
            return builder.inttoptr(place, context.get_value_type(item_type))

        return item_type(s, index), generate

    return at
