"""The store of papers, scans and photos: each file is named by its own hash, complete or not there, never changed."""

import fcntl
import hashlib
import os
import re
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, NamedTuple

from django.conf import settings

NAME = re.compile(r"[0-9a-f]{2}/[0-9a-f]{64}\.[a-z0-9]{1,8}")
SUFFIX = re.compile(r"\.[a-z0-9]{1,8}")


class Stored(NamedTuple):
    """What the row that speaks of a file keeps: its name in the store, the SHA-256 as hex digits, the size in bytes."""

    name: str
    sha256: str
    size: int


def store(data: bytes | Iterable[bytes], suffix: str) -> Stored:
    """Put a file into the store; `suffix` such as `.pdf`. The same bytes twice are one file.

    Store first, then write the row: so there may be a file without a row, never a row without its file.
    Raises ValueError for another kind of suffix, and OSError where the disk is full; then nothing is left behind.
    """
    if not SUFFIX.fullmatch(suffix):
        raise ValueError(f"{suffix!r} is not a suffix: a dot, then up to 8 small letters or digits")
    root().mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=root(), prefix="incoming-")
    try:
        with os.fdopen(handle, "wb") as file:
            sha256, size = copy([data] if isinstance(data, bytes) else data, file)
        name = f"{sha256[:2]}/{sha256}{suffix}"
        settle(Path(temporary), root() / name)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    return Stored(name, sha256, size)


def open_file(name: str) -> IO[bytes]:
    """A stored file, for reading. Raises ValueError for what is no name here, FileNotFoundError for a lost file."""
    if not NAME.fullmatch(name):
        raise ValueError(f"{name!r} is not the name of a stored file")
    return (root() / name).open("rb")


@contextmanager
def keeping() -> Iterator[None]:
    """While a file is stored and its row written, nobody forgets a file: it could be the very one."""
    with locked(fcntl.LOCK_SH):
        yield


def forget(name: str, is_used: Callable[[], bool]) -> bool:
    """Take a file out of the store unless a row uses it; whether it is gone. Waits for those who are `keeping`.

    Equal files are one, so `is_used` asks about every row that may speak of it. Raises ValueError for no name.
    """
    if not NAME.fullmatch(name):
        raise ValueError(f"{name!r} is not the name of a stored file")
    with locked(fcntl.LOCK_EX):
        if is_used():
            return False
        (root() / name).unlink(missing_ok=True)
        return True


@contextmanager
def locked(how: int) -> Iterator[None]:
    """The lock of the whole store, shared or exclusive; it ends with the process that holds it."""
    with (Path(settings.STORAGE_DIR) / "files.lock").open("ab") as file:
        fcntl.flock(file, how)
        yield


def root() -> Path:
    """The folder of the store."""
    return Path(settings.STORAGE_DIR) / "files"


def copy(parts: Iterable[bytes], file: IO[bytes]) -> tuple[str, int]:
    """Write all parts down to the disk; their hash and size."""
    hashed, size = hashlib.sha256(), 0
    for part in parts:
        hashed.update(part)
        size += file.write(part)
    file.flush()
    os.fsync(file.fileno())
    return hashed.hexdigest(), size


def settle(temporary: Path, target: Path) -> None:
    """Give the finished file its name, so that it stays there after a loss of power."""
    target.parent.mkdir(exist_ok=True)
    os.replace(temporary, target)
    for folder in (target.parent, target.parent.parent):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
