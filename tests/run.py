"""Run every test: `.venv/bin/python tests/run.py`. What is missing on a Debian-like machine is installed and named.

All tests run in the embedded house (SQLite, the broker from the installed packages, Chromium) and again in the house of
production (a private PostgreSQL and a private Redis), each with real worker processes. Nothing may be skipped. With two
processors the houses run side by side; what each has to say is printed whole, one after the other.

For one house, or some tests: `tests/run.py production tests/races -x`.
"""

import os
import shutil
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from tests.harness import runs  # noqa: E402 - importable only now

HOUSES = ("embedded", "production")
# Program to Debian package.
NEEDED = {"chromium": "chromium", "redis-server": "redis-server", "pdftoppm": "poppler-utils"}


def install_missing() -> None:
    """Install the programs that no wheel brings; ends with one line where that is not possible."""
    missing = [package for program, package in NEEDED.items() if shutil.which(program) is None]
    if not missing:
        return
    line = "apt-get install -y --no-install-recommends " + " ".join(missing)
    if os.geteuid() != 0 or shutil.which("apt-get") is None:
        raise SystemExit(f"tests: missing: {', '.join(missing)}; as root: {line}")
    print(f"tests: installing {', '.join(missing)} with apt-get", flush=True)
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for command in ("apt-get update -qq", line + " -qq"):
        done = subprocess.run(command.split(), env=environment, capture_output=True, text=True)
        if done.returncode != 0:
            raise SystemExit(f"tests: {command} failed: {done.stderr.strip()[-500:]}")


def warm_up() -> None:
    """Compile the engine once, so that no test waits for it."""
    print("tests: compiling the engine, if that is still to be done", flush=True)
    subprocess.run([sys.executable, "-c", "from labqueue import engine; engine.warm_up()"], cwd=ROOT, check=True)


def left_out(outcomes: list[dict[str, str]]) -> set[str]:
    """Tests that no house ran."""
    ran = {test for outcome in outcomes for test, result in outcome.items() if result != "deselected"}
    return {test for outcome in outcomes for test in outcome} - ran


def complaints(houses: list[str], outcomes: list[dict[str, str]], statuses: list[int]) -> list[str]:
    """Why the run as a whole is no success, one line each; empty where it is one."""
    lines = []
    for house, outcome, status in zip(houses, outcomes, statuses, strict=True):
        count = Counter(outcome.values())
        if status != 0:
            lines.append(f"{house}: pytest ended with status {status}")
        if count["passed"] == 0:
            lines.append(f"{house}: no test passed")
        lines += [f"{house}: skipped or excused: {test}" for test, what in outcome.items() if what == "excused"]
    if len(houses) == len(HOUSES):
        lines += [f"run in no house: {test}" for test in sorted(left_out(outcomes))]
    return lines


def summary(houses: list[str], outcomes: list[dict[str, str]], seconds: float) -> str:
    """The counts of each house, and their sum as the last line."""
    lines = [f"{seconds:.0f} s in all"]
    for house, outcome in zip(houses, outcomes, strict=True):
        count = Counter(outcome.values())
        lines.append(f"{house}: {count['passed']} passed, {count['failed']} failed, {count['excused']} skipped")
    total = Counter(what for outcome in outcomes for what in outcome.values())
    return "\n".join([*lines, f"{total['passed']} passed, {total['failed']} failed"])


def main(arguments: list[str]) -> int:
    """The exit status: 0 only where every test ran and passed."""
    houses = [house for house in HOUSES if house == (arguments or [""])[0]] or list(HOUSES)
    rest = arguments[1:] if arguments and arguments[0] in HOUSES else arguments
    install_missing()
    start = time.monotonic()
    warm_up()
    results = runs.run(houses, rest)
    outcomes, statuses = [outcome for outcome, _ in results], [status for _, status in results]
    wrong = complaints(houses, outcomes, statuses)
    print("\n" + "\n".join(wrong))
    print(summary(houses, outcomes, time.monotonic() - start), flush=True)
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
