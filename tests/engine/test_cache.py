"""The compiled kernel: kept on disk, found again by each process, never in the way of a page or of a fork."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from labqueue.engine import jit, warm_up

ROOT = Path(__file__).resolve().parents[2]
READ_ONLY = """
import os, sys, tempfile
# Nothing is read-only to root; so this process is told that these folders are.
real, refused = tempfile.TemporaryFile, sys.argv[1].split(":")
def temporary_file(*given, **more):
    if any(f"{more.get('dir')}/".startswith(f"{folder}/") for folder in refused):
        raise PermissionError(more["dir"])
    return real(*given, **more)
tempfile.TemporaryFile = temporary_file
from labqueue.engine import jit, loop, warm_up
warm_up()
stats = loop.simulate_slice.stats
print(jit.CACHE_FOLDER, sum(stats.cache_hits.values()), sum(stats.cache_misses.values()))
"""
BESIDE = str(Path(jit.__file__).parent / "__pycache__")


def python(code: str, *arguments: str, **environment: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments],
        cwd=ROOT,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def shipped(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for NUMBA_CACHE_DIR that holds the finished compilation."""
    warm_up()
    folder = tmp_path_factory.mktemp("shipped")
    shutil.copytree(jit.CACHE_FOLDER, folder / jit.CACHE_FOLDER.name)
    return folder


def test_a_finished_cache_in_a_folder_that_cannot_be_written_is_used(shipped: Path, tmp_path: Path) -> None:
    folder, hits, misses = python(
        READ_ONLY, f"{shipped}:{BESIDE}", NUMBA_CACHE_DIR=str(shipped), XDG_CACHE_HOME=str(tmp_path)
    ).split()
    assert Path(folder).parent == tmp_path
    assert (hits, misses) == ("1", "0")


def test_where_no_folder_can_be_written_the_finished_cache_is_used_all_the_same(shipped: Path, tmp_path: Path) -> None:
    temporary = tmp_path / "temporary"
    temporary.mkdir()
    folder, hits, misses = python(
        READ_ONLY,
        f"{shipped}:{BESIDE}:{tmp_path / 'user'}:{temporary / 'labqueue-'}{os.getuid()}",
        NUMBA_CACHE_DIR=str(shipped),
        XDG_CACHE_HOME=str(tmp_path / "user"),
        TMPDIR=str(temporary),
    ).split()
    assert Path(folder).parent == temporary
    assert (hits, misses) == ("1", "0")


def test_a_folder_that_is_somebody_else_s_is_passed_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What lies in it would be run as code."""
    assert jit._writable(tmp_path / "mine")
    monkeypatch.setattr(os, "getuid", lambda: 12345)
    assert not jit._writable(tmp_path / "mine")


def test_a_compilation_that_is_somebody_else_s_is_not_copied(shipped: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(shipped))
    monkeypatch.setattr(jit, "_writable", lambda folder: False)
    copied = jit._cache_folder()
    assert any(copied.iterdir())
    monkeypatch.setattr(jit, "_owners", lambda: {12345})
    empty = jit._cache_folder()
    assert not any(empty.iterdir())
    shutil.rmtree(copied)
    empty.rmdir()


FORK = """
import os, sys
from labqueue.engine import Shop, simulate
from tests.engine.test_same_answer import rich_shop
shop = Shop.from_dict(rich_shop())
before = simulate(shop, 100, threads=2).to_dict()
child = os.fork()
if child == 0:
    same = [simulate(shop, 100, threads=threads).to_dict() == before for threads in (1, 2)]
    os._exit(0 if all(same) else 1)
print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))
"""


def test_a_process_that_was_forked_after_a_forecast_makes_its_own() -> None:
    """On one thread and on two: threads are made where they work, and none is inherited."""
    assert python(FORK).split() == ["0"]


WEB = """
import os, sys, django
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labqueue.settings")
django.setup()
from django.test import Client
from django.urls import get_resolver
assert len(get_resolver().url_patterns) > 5
import labqueue.planning.api
assert Client(SERVER_NAME="localhost").get("/sign-in").status_code == 200
print("numba" in sys.modules)
"""


def test_the_pages_never_load_the_compiler() -> None:
    """So that no page can ever wait for it."""
    assert python(WEB).split() == ["False"]
