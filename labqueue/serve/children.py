"""Child processes that never outlive whoever started them."""

import contextlib
import ctypes
import os
import signal
import subprocess
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

PR_SET_PDEATHSIG = 1
Child = subprocess.Popen[bytes]


def die_with_parent() -> None:
    """Runs in the child before its program: Linux kills it when its parent is gone, even after kill -9."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGKILL)


def spawn(
    command: Sequence[str], log: Path, environment: Mapping[str, str] | None = None, keep_open: Sequence[int] = ()
) -> Child:
    """Start a child in a session of its own, so that Ctrl-C reaches the parent alone; its output is added to `log`.

    `keep_open` are file descriptors that it inherits. Call it from the main thread: the kernel takes the thread that
    starts a child for its parent.
    """
    with log.open("ab") as output:
        return subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=subprocess.STDOUT,
            env={**os.environ, **(environment or {})},
            start_new_session=True,
            pass_fds=keep_open,
            preexec_fn=die_with_parent,
        )


def stop(child: Child, seconds: float = 10) -> None:
    """End a child and all that it started: asked first, killed where it does not listen within `seconds`."""
    if child.poll() is None:
        child.terminate()
        with contextlib.suppress(subprocess.TimeoutExpired):
            child.wait(seconds)
    kill(child)


def kill(child: Child) -> None:
    """kill -9 the child and all that it started."""
    with contextlib.suppress(ProcessLookupError):
        os.killpg(child.pid, signal.SIGKILL)
    child.wait()
