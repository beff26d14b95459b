"""After the tests of the engine: the table of deviations from theory."""

from _pytest.terminal import TerminalReporter

from tests.engine import deviations


def pytest_terminal_summary(terminalreporter: TerminalReporter) -> None:
    """Print it where any of its tests ran."""
    if deviations.ROWS:
        terminalreporter.section("the engine against theory, deviations in standard errors")
        for line in deviations.table():
            terminalreporter.write_line(line)
