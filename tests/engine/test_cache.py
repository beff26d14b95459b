"""The compiled code: kept on disk, found again by each process, never in the way of a page or of a fork."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from labqueue.engine import kept_code, warm_up
from labqueue.engine.jit import Kernel
from labqueue.engine.machine_code import MachineCode, link

ROOT = Path(__file__).resolve().parents[2]
FIRST_FORECAST = """
import sys
from labqueue.engine import kept_code, warm_up
first = kept_code.folders()[:1]
kept_code.folders = lambda: first
warm_up()
print("numba" in sys.modules)
"""


def python(code: str, **environment: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def double(number: float) -> float:
    return number * 2.0


def total(weights: np.ndarray, seed: np.uint64, tables: tuple[np.ndarray, np.ndarray], first: int) -> int:
    found = first
    for k in range(len(tables)):
        table = tables[k]
        for i in range(table.shape[0]):
            found += table[i] * int(weights[i, k])
    return found if seed > np.uint64(2**63) else -1


@pytest.fixture
def folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """Three empty folders in place of those in which code may lie, the first to be looked into first."""
    found = [tmp_path / name for name in ("named", "beside", "temporary")]
    monkeypatch.setattr(kept_code, "folders", lambda: found)
    return found


@pytest.fixture
def compiled(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The names of the functions that the compiler was asked for."""
    from labqueue.engine import compiling

    asked: list[str] = []
    machine_code = compiling.machine_code

    def watched(function: type, arguments: tuple[object, ...]) -> MachineCode:
        asked.append(function.__name__)
        return machine_code(function, arguments)

    monkeypatch.setattr(compiling, "machine_code", watched)
    return asked


def kept(folder: Path) -> list[str]:
    return [path.name.partition("-")[0] for path in folder.glob("*")]


def test_the_first_process_compiles_and_the_next_one_finds(folders: list[Path], compiled: list[str]) -> None:
    assert [Kernel(double)(2.5), Kernel(double)(4.0)] == [5.0, 8.0]
    assert compiled == ["double"]
    assert [kept(folder) for folder in folders] == [["test_cache.double"], [], []]


def test_arguments_of_every_kind(folders: list[Path]) -> None:
    """Read only and writable arrays of one and two dimensions, with gaps or without, a tuple, whole numbers."""
    weights = np.arange(12.0).reshape(3, 4)[:, 1:3]
    weights.flags.writeable = False
    tables = (np.array([1, 10, 100]), np.array([0, 1, -2]))
    # 1 * 1 + 10 * 5 + 100 * 9 and 1 * 6 - 2 * 10
    for _ in range(2):
        assert Kernel(total)(weights, np.uint64(2**64 - 1), tables, 7) == 7 + 951 - 14
        assert Kernel(total)(weights, np.uint64(1), tables, 7) == -1


def test_a_finished_compilation_is_used_wherever_it_lies(folders: list[Path], compiled: list[str]) -> None:
    """As where the first folder is read only: nothing is written, whoever looks."""
    Kernel(double)(1.0)
    folders[0].rename(folders[1])
    assert Kernel(double)(1.5) == 3.0
    assert compiled == ["double"]
    assert not folders[0].exists()


def test_a_folder_that_cannot_be_written_is_passed_over(folders: list[Path], compiled: list[str]) -> None:
    folders[0].write_text("a file: no folder can be made of it", encoding="utf-8")
    Kernel(double)(1.0)
    Kernel(double)(1.0)
    assert [kept(folder) for folder in folders[1:]] == [["test_cache.double"], []]
    assert compiled == ["double"]


def test_where_no_folder_can_be_written_each_process_compiles(folders: list[Path], compiled: list[str]) -> None:
    for folder in folders:
        folder.write_text("", encoding="utf-8")
    assert [Kernel(double)(1.0), Kernel(double)(2.0)] == [2.0, 4.0]
    assert compiled == ["double", "double"]


def test_what_somebody_else_has_written_is_not_run(
    folders: list[Path], compiled: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither what another user owns (here: we are told to be another one), nor what others may write."""
    Kernel(double)(1.0)
    file = next(folders[0].iterdir())
    file.chmod(0o666)
    Kernel(double)(1.0)
    assert compiled == ["double"] * 2
    assert file.stat().st_mode & 0o777 == 0o644, "it was written anew"
    real = kept_code.trusted

    def other(found: os.stat_result) -> bool:
        return real(os.stat_result([*found[:4], found.st_uid + 1, *found[5:]]))

    monkeypatch.setattr(kept_code, "trusted", other)
    Kernel(double)(1.0)
    assert compiled == ["double"] * 3


@pytest.mark.parametrize("damage", [b"", b"{}", b"7\n", b'["a", "b", [], "c"]\n', b"\xff\xfe\n", None])
def test_a_damaged_file_is_made_anew(folders: list[Path], compiled: list[str], damage: bytes | None) -> None:
    Kernel(double)(1.0)
    file = next(folders[0].iterdir())
    whole = file.read_bytes()
    file.write_bytes(whole[:-1] if damage is None else damage)
    assert Kernel(double)(1.0) == 2.0
    assert compiled == ["double"] * 2
    assert len(file.read_bytes()) == len(whole)


def test_code_that_needs_what_is_not_there_is_not_linked() -> None:
    """LLVM would end the process."""
    with pytest.raises(ImportError, match="needs no_such_function"):
        link(MachineCode("f", "int64", ["no_such_function"], b""))


def test_the_folder_is_another_for_other_sources_and_the_folders_stand_in_their_order(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "named"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "user"))
    beside = Path(kept_code.__file__).parent / "__pycache__"
    found = [folder.parent for folder in kept_code.folders()]
    assert found[:3] == [tmp_path / "named", beside, tmp_path / "user"]
    assert found[3].name == f"labqueue-{os.getuid()}"
    before = kept_code.leaf()
    monkeypatch.setattr(kept_code, "__file__", str(tmp_path / "kept_code.py"))
    assert kept_code.leaf.__wrapped__() != before


def test_a_finished_compilation_is_found_without_the_compiler(tmp_path: Path) -> None:
    """In the folder that NUMBA_CACHE_DIR names, the only one that is looked into here; nothing more is put there."""
    warm_up()
    source = next(folder for folder in kept_code.folders() if any(folder.glob("loop.simulate_slice-*")))
    shutil.copytree(source, tmp_path / "shipped" / source.name)
    there = sorted((tmp_path / "shipped").rglob("*"))
    assert python(FIRST_FORECAST, NUMBA_CACHE_DIR=str(tmp_path / "shipped")).split() == ["False"]
    assert sorted((tmp_path / "shipped").rglob("*")) == there


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
from django.urls import get_resolver
assert len(get_resolver().url_patterns) > 5
import labqueue.urls, labqueue.planning.api
print([name for name in ("numba", "llvmlite", "labqueue.engine.loop") if name in sys.modules])
"""


def test_the_pages_never_load_the_engine() -> None:
    """So that no page can ever wait for its compilation."""
    assert python(WEB).strip() == "[]"
