"""`python -m labqueue.engine`, as a program."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from labqueue.engine import Shop, simulate
from tests.engine.shops import Document
from tests.engine.test_same_answer import rich_shop

ROOT = Path(__file__).parents[2]


def command(*arguments: str, stdin: str = "", **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "labqueue.engine", *arguments],
        cwd=ROOT,
        input=stdin,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
        env={**os.environ, **environment},
    )


def write(folder: Path, doc: Document) -> str:
    path = folder / "shop.json"
    path.write_text(json.dumps(doc), encoding="utf-8")
    return str(path)


def test_the_program_prints_the_forecast_that_the_call_gives(tmp_path: Path) -> None:
    done = command(write(tmp_path, rich_shop()), "--replications", "40", "--seed", "7", "--threads", "2")
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout) == simulate(Shop.from_dict(rich_shop()), 40, seed=7).to_dict()


def test_a_shop_from_standard_input() -> None:
    done = command("-", "--replications", "5", stdin=json.dumps(rich_shop()))
    assert json.loads(done.stdout)["replications"] == 5


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('{"now": 1', "-: is not JSON"),
        ('{"now": "2026-03-02T08:00:00Z", "horizon_minutes": -1}', "horizon_minutes: must be"),
        ('{"now": "2026-03-02T08:00:00Z", "now": "2026-03-02T08:00:00Z"}', 'the key "now" stands twice'),
        ("[]", "must be an object"),
        ("[" * 100_000, "-: is nested too deeply"),
    ],
)
def test_a_refusal_is_one_line_and_status_2(text: str, line: str) -> None:
    done = command("-", stdin=text)
    assert done.returncode == 2
    assert done.stderr.startswith(line)
    assert done.stderr.count("\n") == 1
    assert done.stdout == ""


def test_a_file_that_is_not_there_and_bad_options() -> None:
    done = command("nowhere.json")
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert command("-", "--replications", "0").returncode == 2


def test_a_cache_folder_that_cannot_be_written_is_passed_over(tmp_path: Path) -> None:
    """NUMBA_CACHE_DIR below a file can be no folder; the next in line serves."""
    blocked = tmp_path / "file"
    blocked.write_text("", encoding="utf-8")
    done = command("-", "--replications", "5", stdin=json.dumps(rich_shop()), NUMBA_CACHE_DIR=str(blocked / "cache"))
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout)["replications"] == 5


def test_the_compiled_kernel_is_kept_where_numba_cache_dir_says(tmp_path: Path) -> None:
    code = "from labqueue.engine.jit import CACHE_FOLDER; print(CACHE_FOLDER)"
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)},
    )
    assert Path(done.stdout.strip()).parent == tmp_path
