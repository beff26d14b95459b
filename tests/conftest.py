"""What every test may use. The servers, workers and the browser stand in tests/harness."""

from tests.harness import house

house.prepare()

# Only now: all of this needs Django loaded in our environment.
import pytest  # noqa: E402

from tests.harness import flush, selection  # noqa: E402
from tests.harness.browser import (  # noqa: E402
    axe,
    base_url,
    browser_type_launch_args,
    console_errors,
    new_context,
    signed_in,
)
from tests.harness.worker import broker, new_worker, worker  # noqa: E402

# The fixtures of the harness.
__all__ = [
    "axe",
    "base_url",
    "broker",
    "browser_type_launch_args",
    "console_errors",
    "new_context",
    "new_worker",
    "signed_in",
    "worker",
]


def pytest_configure(config: pytest.Config) -> None:
    """Before the first test."""
    flush.install()
    config.pluginmanager.register(selection.Report(), "report")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Keep the tests that belong to this house."""
    selection.keep(config, items, house.ON_POSTGRES, house.BOTH)
