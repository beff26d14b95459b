"""Where compiled code is kept on disk, and whom it may come from."""

import os
import tempfile
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from hashlib import blake2b
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from labqueue.engine.machine_code import MachineCode, host


@cache
def leaf() -> str:
    """The name of the folder: a hash of this package's sources, of numba's version and of the processor."""
    digest = blake2b(host().encode(), digest_size=8)
    numba = find_spec("numba")
    version = [Path(numba.origin).with_name("_version.py")] if numba and numba.origin else []
    for path in [*version, *sorted(Path(__file__).parent.glob("*.py"))]:
        digest.update(path.read_bytes())
    return f"labqueue-engine-{digest.hexdigest()}"


def folders() -> list[Path]:
    """Where code may lie: in NUMBA_CACHE_DIR, beside the sources, in the user's cache, in a temporary folder."""
    user_cache = Path(os.environ.get("XDG_CACHE_HOME") or Path("~/.cache").expanduser())
    temporary = Path(tempfile.gettempdir()) / f"labqueue-{os.getuid()}"
    parents = [Path(__file__).parent / "__pycache__", user_cache, temporary]
    if os.environ.get("NUMBA_CACHE_DIR"):
        parents.insert(0, Path(os.environ["NUMBA_CACHE_DIR"]))
    return [parent / leaf() for parent in parents]


def name_of(function: Callable[..., Any], kind: tuple[Any, ...]) -> str:
    """The name of the file of a kernel's code for arguments of a kind."""
    room = function.__module__.rpartition(".")[2]
    return f"{room}.{function.__name__}-{blake2b(repr(kind).encode(), digest_size=8).hexdigest()}.code"


def read(name: str) -> MachineCode | None:
    """The first file of that name that is whole and can be trusted; None where there is none."""
    for folder in folders():
        with suppress(OSError), (folder / name).open("rb") as file:
            if trusted(os.fstat(file.fileno())) and (found := MachineCode.from_bytes(file.read())):
                return found
    return None


def write(name: str, code: MachineCode) -> None:
    """Keep code in the first folder that takes it; where none does, the next process compiles anew."""
    for folder in folders():
        with suppress(OSError):
            folder.mkdir(mode=0o755, parents=True, exist_ok=True)
            _put(folder / name, code.to_bytes())
            return


def trusted(file: os.stat_result) -> bool:
    """Whether only we, or who owns these sources, can have written a file: what stands in it will be run."""
    return file.st_uid in (os.getuid(), Path(__file__).stat().st_uid) and not file.st_mode & 0o022


def _put(path: Path, content: bytes) -> None:
    """Write a file whole, whoever reads or writes it at the same time."""
    handle, beside = tempfile.mkstemp(dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        Path(beside).chmod(0o644)
        Path(beside).replace(path)
    except OSError:
        Path(beside).unlink(missing_ok=True)
        raise
