"""The migrations say what the models say, and go forward from nothing."""

import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import call_command

from tests.harness.house import ROOT


@pytest.mark.django_db
def test_no_migration_is_missing() -> None:
    call_command("makemigrations", check=True, dry_run=True, verbosity=0)


@pytest.mark.django_db
def test_every_migration_is_applied(capsys: pytest.CaptureFixture[str]) -> None:
    call_command("showmigrations", "--plan", "--no-color")
    lines = capsys.readouterr().out.strip().splitlines()
    assert len(lines) > 20
    assert [line for line in lines if not line.startswith("[X]")] == []


@pytest.mark.once
def test_a_missing_migration_is_seen(tmp_path: Path) -> None:
    """The check above can fail: a model with one more field has no migration for it."""
    code = (
        "import django; django.setup()\n"
        "from django.db import models\n"
        "from labqueue.base.models import ClosedDay\n"
        "ClosedDay.add_to_class('extra', models.CharField(max_length=3, default=''))\n"
        "from django.core.management import call_command\n"
        "call_command('makemigrations', check=True, dry_run=True, verbosity=0)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 1, done.stderr
