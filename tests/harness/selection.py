"""Which tests belong to which house, and the report from which tests/run.py sees that none was left out."""

import json
import os
from collections.abc import Collection, Sequence
from pathlib import Path

import pytest

# Rooms whose tests would prove nothing new in a second house.
ONCE = ("tests/engine/", "tests/browser/")
# What is run once and is the same in either house. The house of production has more time for it, where both are run.
ANYWHERE = ("tests/engine/", "tests/test_lint.py")


def belongs(test: str, marks: Collection[str], on_postgres: bool, both: bool) -> bool:
    """Whether a test is run in this house: `postgres` only beside PostgreSQL, `once` in one only, beside SQLite.

    `both` says that the other house is run as well.
    """
    if "postgres" in marks:
        return on_postgres
    if "once" not in marks and not test.startswith(ONCE):
        return True
    return on_postgres == (both and test.startswith(ANYWHERE))


def keep(config: pytest.Config, items: list[pytest.Item], on_postgres: bool, both: bool) -> None:
    """Take the others out. They are not skipped: the other house runs them, and tests/run.py checks that it does."""

    def ours(item: pytest.Item) -> bool:
        return belongs(item.nodeid, {mark.name for mark in item.iter_markers()}, on_postgres, both)

    others = [item for item in items if not ours(item)]
    items[:] = [item for item in items if ours(item)]
    if others:
        config.hook.pytest_deselected(items=others)


class Report:
    """Writes what became of each test to the file that LABQUEUE_TEST_REPORT names, as JSON: test to outcome."""

    def __init__(self) -> None:
        self.outcomes: dict[str, str] = {}

    def pytest_deselected(self, items: Sequence[pytest.Item]) -> None:
        self.outcomes.update({item.nodeid: "deselected" for item in items})

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """A test has failed if any phase of it has; it is excused if it was skipped or failed as announced."""
        known = self.outcomes.get(report.nodeid)
        if report.failed:
            self.outcomes[report.nodeid] = "failed"
        elif report.skipped or hasattr(report, "wasxfail"):
            self.outcomes[report.nodeid] = "excused"
        elif known is None:
            self.outcomes[report.nodeid] = "passed"

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        """A module that skips itself or cannot be imported counts as well."""
        if not report.passed:
            self.outcomes[report.nodeid] = "excused" if report.skipped else "failed"

    def pytest_sessionfinish(self) -> None:
        """At the very end."""
        if path := os.environ.get("LABQUEUE_TEST_REPORT"):
            Path(path).write_text(json.dumps(self.outcomes))
