"""Pytest in one house, or in both side by side: they share nothing that is written but compiled code."""

import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, nullcontext
from dataclasses import dataclass
from pathlib import Path

from labqueue.serve.children import die_with_parent
from tests.harness import postgres
from tests.harness.house import ROOT

Result = tuple[dict[str, str], int]
"""What became of each test, and the exit status of pytest."""


@dataclass
class Run:
    """One pytest in one house, which writes its text and its report into a folder of its own."""

    house: str
    folder: Path
    child: "subprocess.Popen[bytes]"

    def show(self) -> None:
        """Print what it has written and go on printing until it has ended."""
        print(f"\ntests: the {self.house} house", flush=True)
        with (self.folder / "text").open(encoding="utf-8", errors="replace") as text:
            ended = False
            while not ended:
                ended = self.child.poll() is not None
                print(text.read(), end="", flush=True)
                time.sleep(0 if ended else 0.2)

    def result(self) -> Result:
        """Once it has ended; no outcomes where it wrote no report."""
        report = self.folder / "report.json"
        return (json.loads(report.read_text()) if report.exists() else {}), self.child.returncode


@contextmanager
def started(house: str, arguments: list[str], both: bool = False) -> Iterator[Run]:
    """Start the tests of a house. They are interrupted where they have not ended at the end of the block."""
    with (
        postgres.server() if house == "production" else nullcontext("") as url,
        tempfile.TemporaryDirectory() as name,
    ):
        folder = Path(name)
        own = {"LABQUEUE_TEST_REPORT": str(folder / "report.json"), "LABQUEUE_TEST_BOTH": "yes" if both else ""}
        environment = {**os.environ, **own, "DATABASE_URL": url}
        child = spawn(house, arguments, folder / "text", environment)
        try:
            yield Run(house, folder, child)
        finally:
            interrupt(child)


def spawn(house: str, arguments: list[str], text: Path, environment: dict[str, str]) -> "subprocess.Popen[bytes]":
    """Pytest in a session of its own: Ctrl-C reaches this process alone, and each child is interrupted once."""
    colour = "yes" if sys.stdout.isatty() else "no"
    options = ["--quiet", f"--color={colour}", "-o", f"cache_dir=.pytest_cache/{house}"]
    with text.open("wb") as file:
        return subprocess.Popen(
            [sys.executable, "-m", "pytest", *options, *arguments],
            cwd=ROOT,
            env=environment,
            stdout=file,
            stderr=subprocess.STDOUT,
            start_new_session=True,
            preexec_fn=die_with_parent,
        )


def interrupt(child: "subprocess.Popen[bytes]", seconds: float = 20) -> None:
    """End a pytest as Ctrl-C does, with all its fixtures; by force where it does not listen."""
    if child.poll() is None:
        child.send_signal(signal.SIGINT)
    try:
        child.wait(seconds)
    except subprocess.TimeoutExpired:
        child.kill()
        child.wait()


def run(houses: list[str], arguments: list[str]) -> list[Result]:
    """Run these houses, side by side where possible."""
    both = len(houses) > 1
    processors = len(os.sched_getaffinity(0))
    return [result for some in rounds(houses, processors) for result in side_by_side(some, arguments, both)]


def side_by_side(houses: list[str], arguments: list[str], both: bool) -> list[Result]:
    """Run these houses at the same time; each prints its own text, one after the other."""
    with ExitStack() as stack:
        runs = [stack.enter_context(started(house, arguments, both)) for house in houses]
        for each in runs:
            each.show()
        return [each.result() for each in runs]


def rounds(houses: list[str], processors: int) -> list[list[str]]:
    """Which houses run side by side: all where there is a processor for each, else one after the other."""
    return [houses] if processors >= len(houses) else [[house] for house in houses]
