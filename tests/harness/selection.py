"""Which tests belong to which house, and the report from which tests/run.py sees that none was left out."""

import json
import os
from collections.abc import Sequence
from pathlib import Path

import pytest

# Rooms whose tests would prove nothing new beside PostgreSQL and Redis.
ONCE = ("tests/engine/", "tests/browser/")


def belongs(item: pytest.Item, on_postgres: bool) -> bool:
    """Whether a test is run in this house: `postgres` only beside PostgreSQL, `once` only beside SQLite."""
    if item.get_closest_marker("postgres"):
        return on_postgres
    once = item.get_closest_marker("once") or item.nodeid.startswith(ONCE)
    return not (once and on_postgres)


def keep(config: pytest.Config, items: list[pytest.Item], on_postgres: bool) -> None:
    """Take the others out. They are not skipped: the other house runs them, and tests/run.py checks that it does."""
    others = [item for item in items if not belongs(item, on_postgres)]
    items[:] = [item for item in items if belongs(item, on_postgres)]
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
