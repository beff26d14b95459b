"""The house style is checked by machines."""

import subprocess
import sys

import pytest

from tests.harness.house import ROOT

pytestmark = pytest.mark.once

CHECKS = {
    "ruff": ["ruff", "check", "--no-cache", "."],
    "format": ["ruff", "format", "--no-cache", "--check", "."],
    "mypy": ["mypy", "."],
}


@pytest.mark.parametrize("check", CHECKS)
def test_the_house_style_is_kept(check: str) -> None:
    done = subprocess.run([sys.executable, "-m", *CHECKS[check]], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
