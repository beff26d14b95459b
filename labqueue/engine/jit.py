"""The one door to numba: compiled functions with a cache on disk that survives and is safe to share."""

import hashlib
import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import numba
import numpy as np
from llvmlite import ir  # type: ignore[import-untyped]
from numba.core import config
from numba.cpython.unsafe.numbers import leading_zeros as _leading_zeros
from numba.cpython.unsafe.numbers import trailing_zeros as _trailing_zeros
from numba.extending import intrinsic

from labqueue.engine.apart import ApartCompiler

trailing_zeros = cast(Callable[[Any], int], _trailing_zeros)
"""The number of the lowest bit that is set; for compiled code only."""
leading_zeros = cast(Callable[[Any], int], _leading_zeros)
"""How many bits above the highest one that is set; for compiled code only."""

Function = TypeVar("Function", bound=Callable[..., Any])


def _fingerprint() -> str:
    """A hash of this package's sources: numba itself would miss a change in a helper that a kernel calls."""
    digest = hashlib.blake2b(numba.__version__.encode(), digest_size=8)
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _writable(folder: Path) -> bool:
    """Whether files can be kept in a folder that is ours: what lies in it will be loaded as code."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return folder.stat().st_uid == os.getuid()
    except OSError:
        return False


def _owners() -> set[int]:
    """Whose files are loaded as code: our own, and those of whoever owns the sources."""
    return {os.getuid(), Path(__file__).stat().st_uid}


def _finished(folder: Path) -> bool:
    """Whether a folder holds a compilation by somebody who may give us code."""
    return folder.is_dir() and folder.stat().st_uid in _owners() and any(folder.iterdir())


def _cache_folder() -> Path:
    """The first folder that can be written: NUMBA_CACHE_DIR, beside the code, the user's cache, a temporary one.

    Where one that comes earlier holds a finished compilation but cannot be written, its files are copied.
    """
    leaf = f"labqueue-engine-{_fingerprint()}"
    user_cache = Path(os.environ.get("XDG_CACHE_HOME") or Path("~/.cache").expanduser())
    temporary = Path(tempfile.gettempdir()) / f"labqueue-{os.getuid()}"
    parents = [Path(__file__).parent / "__pycache__", user_cache, temporary]
    if os.environ.get("NUMBA_CACHE_DIR"):
        parents.insert(0, Path(os.environ["NUMBA_CACHE_DIR"]))
    folders = [parent / leaf for parent in parents]
    chosen = next((folder for folder in folders if _writable(folder)), None)
    earlier = folders if chosen is None else folders[: folders.index(chosen)]
    chosen = chosen or Path(tempfile.mkdtemp(prefix="labqueue-"))
    finished = next((folder for folder in earlier if _finished(folder)), None)
    if finished is not None and not any(chosen.iterdir()):
        shutil.copytree(finished, chosen, dirs_exist_ok=True)
    return chosen


CACHE_FOLDER = _cache_folder()


def _compiled(function: Function, **options: Any) -> Function:
    settings: Any = config
    kept = settings.CACHE_DIR
    settings.CACHE_DIR = str(CACHE_FOLDER)
    try:
        return cast(Function, numba.njit(error_model="numpy", cache=True, **options)(function))
    finally:
        settings.CACHE_DIR = kept


def _inner(function: Function, **options: Any) -> Function:
    """A function that only compiled code calls needs no way in from Python."""
    settings: dict[str, Any] = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True, **options}
    return cast(Function, numba.njit(error_model="numpy", **settings)(function))


def kernel(function: Function) -> Function:
    """Compile a function that Python calls; it runs without the interpreter's lock."""
    return _compiled(function, nogil=True)


def helper(function: Function) -> Function:
    """Compile a small function that kernels call; it becomes part of its caller."""
    return _inner(function, forceinline=True)


def rare(function: Function) -> Function:
    """Compile a function that kernels call seldom; it stays a function of its own, to keep the kernel small."""
    return _inner(function, forceinline=False, pipeline_class=ApartCompiler)


@helper
def bit_length(number: int) -> int:
    """The number of bits of a whole number of 64 bits that is not negative; for compiled code only."""
    return 64 - int(leading_zeros(number))


@intrinsic  # type: ignore[untyped-decorator, unused-ignore]
def _bits(typing: Any, number: Any) -> Any:
    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        return builder.bitcast(arguments[0], ir.IntType(64))

    return numba.types.int64(numba.types.float64), generate


bits_of = cast(Callable[[float], int], _bits)


@helper
def ordered(number: float) -> int:
    """A whole number for each floating one, in the same order; for compiled code only."""
    bits = int(bits_of(number + 0.0))
    return bits if bits >= 0 else bits ^ ((1 << 63) - 1)


def accessor(world: np.dtype[np.void], array: str, item: np.dtype[np.void]) -> Callable[[Any, int], Any]:
    """A function (s, index) that gives an item of an array, for compiled code only.

    `s` is a record of type `world` whose field `array` holds the address of records of type `item`. The result is a
    pointer to the record: reading and writing its fields reads and writes the array. Nothing is counted, copied or
    checked, so that a compiled function can be given a whole shop as one pointer.
    """
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

    return cast(Callable[[Any, int], Any], at)
