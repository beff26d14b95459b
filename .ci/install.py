"""Install into `.venv`: `python3 .ci/install.py` for running, with `--test` for the tests as well.

Standard library only. Exact versions with hashes from the lock files beside this file; done in a moment where the
environment holds them already. The project itself is not installed: everything runs from the checkout.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
VENV = HERE.parent / ".venv"
PYTHON = VENV / "bin" / "python"
QUIET = ["--quiet", "--disable-pip-version-check", "--no-input", "--progress-bar", "off"]


def say(line: str) -> None:
    """One line for the person who waits."""
    print("install: " + line, flush=True)


def stop(line: str) -> SystemExit:
    """To be raised: ends with exit status 1 and one line."""
    return SystemExit("install: " + line)


def check_version() -> None:
    """Refuse a Python that is too old."""
    if sys.version_info < (3, 11):  # noqa: UP036 - this file is started by whatever python3 is
        raise stop("Python 3.11 or newer is needed; this is " + sys.version.split()[0])


def succeeds(*command: str) -> bool:
    """Whether a command ends well; what it prints is thrown away."""
    return subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL).returncode == 0


def runs() -> bool:
    """Whether the environment is there and has a Python that is new enough."""
    return PYTHON.exists() and succeeds(str(PYTHON), "-c", "import sys; sys.exit(sys.version_info < (3, 11))")


def pip() -> list[str] | None:
    """The pip that can install into the environment: its own, or the one of the Python that runs this file."""
    if succeeds(str(PYTHON), "-m", "pip", "--version"):
        return [str(PYTHON), "-m", "pip"]
    outside = [sys.executable, "-m", "pip", "--python", str(PYTHON)]
    return outside if succeeds(*outside, "--version") else None


def make(*options: str) -> bool:
    """Make the environment anew with the standard library's venv."""
    return succeeds(sys.executable, "-m", "venv", "--clear", *options, str(VENV))


def install_venv_package() -> None:
    """On Debian the standard library's venv is a package of its own; install it where that is possible."""
    if os.geteuid() != 0 or shutil.which("apt-get") is None:
        raise stop("this Python can make no virtual environment; install its venv module (Debian: python3-venv)")
    name = "python%d.%d-venv" % sys.version_info[:2]  # noqa: UP031
    say(f"this Python has neither ensurepip nor pip; installing Debian's {name} with apt-get")
    environment = dict(os.environ, DEBIAN_FRONTEND="noninteractive")
    for command in (["apt-get", "update", "-qq"], ["apt-get", "install", "-y", "-qq", "--no-install-recommends", name]):
        if subprocess.run(command, env=environment, stdout=subprocess.DEVNULL).returncode != 0:
            raise stop(f"apt-get could not install {name}; install it by hand")


def environment() -> list[str]:
    """Make sure the environment is there; the command of a pip that installs into it."""
    if runs() and (found := pip()):
        return found
    if make() and (found := pip()):
        return found
    if make("--without-pip") and (found := pip()):
        return found
    install_venv_package()
    if make() and (found := pip()):
        return found
    raise stop("a virtual environment could not be made with " + sys.executable)


def compile_all() -> None:
    """Keep the bytecode of what was installed, which not every pip does: else each process compiles it at its start."""
    folder = "import sysconfig; print(sysconfig.get_path('purelib'))"
    found = subprocess.run([str(PYTHON), "-c", folder], stdout=subprocess.PIPE, text=True)
    # A package may bring files for another Python; those stay as they are.
    subprocess.run(
        [str(PYTHON), "-m", "compileall", "-q", "-q", "-j", "0", found.stdout.strip()],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def install(name: str) -> None:
    """Install the lock file `name` unless the environment holds just that."""
    lock = HERE / (name + ".lock")
    digest = hashlib.sha256(lock.read_bytes()).hexdigest()
    stamp = VENV / (name + ".lock.sha256")
    if stamp.exists() and stamp.read_text() == digest and runs():
        return say(f"{name} is up to date")
    command = [*environment(), "install", *QUIET, "--require-hashes", "-r", str(lock)]
    say(f"installing .ci/{lock.name} into .venv; this takes about a minute")
    if subprocess.run(command).returncode != 0:
        raise stop(f"pip could not install {lock.name}; the lines above say why")
    compile_all()
    stamp.write_text(digest)
    return say("done")


def main(arguments: list[str]) -> None:
    check_version()
    if arguments not in ([], ["--test"]):
        raise stop("usage: python3 .ci/install.py [--test]")
    install("test" if arguments else "runtime")


if __name__ == "__main__":
    main(sys.argv[1:])
