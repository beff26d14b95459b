"""The two commands of the README are the ones that work, and the one that is run for every change."""

import re
import subprocess

import pytest

from labqueue import environment
from tests.harness.house import ROOT

pytestmark = pytest.mark.once

README = (ROOT / "README.md").read_text()


def commands() -> list[str]:
    """The code blocks of the README that hold one line."""
    return [
        block.strip() for block in re.findall(r"```(?:sh|bash)?\n(.*?)```", README, re.DOTALL) if block.count("\n") == 1
    ]


def test_the_two_commands_come_first_in_their_order() -> None:
    assert commands()[:2] == [
        "python3 .ci/install.py && .venv/bin/python manage.py serve --demo",
        "python3 .ci/install.py --test && .venv/bin/python tests/run.py",
    ]


def test_what_runs_for_every_change_is_the_second_command_and_nothing_else() -> None:
    script = ROOT / ".ci" / "run"
    assert script.read_text().splitlines() == ["#!/bin/bash", commands()[1]]
    assert script.stat().st_mode & 0o111 == 0o111


def test_all_that_the_commands_name_is_in_the_repository() -> None:
    named = [word for command in commands()[:2] for word in command.split() if word.endswith(".py")]
    assert len(named) == 4
    subprocess.run(["git", "ls-files", "--error-unmatch", *named], cwd=ROOT, check=True, capture_output=True)


def test_every_variable_of_the_environment_is_documented() -> None:
    settings = (ROOT / "labqueue" / "settings.py").read_text()
    names = set(re.findall(r'environment\.\w+\(\s*"([A-Z_]+)"', settings)) | {"LABQUEUE_ENV"}
    assert len(names) > 8
    assert {name for name in names if f"`{name}`" not in README} == set()


def test_the_values_of_the_house_are_documented() -> None:
    assert environment.production.__doc__ is not None
    for value in ("embedded", "production"):
        assert value in environment.production.__doc__
        assert f"`{value}`" in README
