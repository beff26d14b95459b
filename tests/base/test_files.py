"""The store of finished papers: complete or not there, named by content, closed to any other path."""

import errno
import hashlib
import os
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from pytest_django import Settings

from labqueue.base import files


@pytest.fixture(autouse=True)
def storage(settings: Settings, tmp_path: Path) -> Path:
    """A storage folder of this test's own; gives the folder of the store in it."""
    settings.STORAGE_DIR = tmp_path
    return tmp_path / "files"


def everything(folder: Path) -> list[Path]:
    """All files below `folder`."""
    return [path for path in folder.rglob("*") if path.is_file()]


def test_a_file_reads_back_under_the_name_of_its_hash(storage: Path) -> None:
    stored = files.store(b"%PDF-1.7 slip", ".pdf")
    sha256 = hashlib.sha256(b"%PDF-1.7 slip").hexdigest()
    assert stored == (f"{sha256[:2]}/{sha256}.pdf", sha256, 13)
    with files.open_file(stored.name) as file:
        assert file.read() == b"%PDF-1.7 slip"
    assert everything(storage) == [storage / stored.name]


def test_parts_are_stored_as_one_file() -> None:
    assert files.store((part for part in [b"%PDF", b"", b"-1.7 slip"]), ".pdf") == files.store(b"%PDF-1.7 slip", ".pdf")


def test_the_same_bytes_twice_are_one_file(storage: Path) -> None:
    assert files.store(b"same", ".pdf") == files.store(b"same", ".pdf")
    assert len(everything(storage)) == 1


def test_a_file_is_on_the_disk_before_it_has_its_name(storage: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    steps: list[str] = []
    fsync, replace = os.fsync, os.replace

    def noted_fsync(handle: int) -> None:
        steps.append("folder" if Path(f"/proc/self/fd/{handle}").readlink().is_dir() else "file")
        fsync(handle)

    def noted_replace(source: Path, target: Path) -> None:
        steps.append("name")
        replace(source, target)

    monkeypatch.setattr(os, "fsync", noted_fsync)
    monkeypatch.setattr(os, "replace", noted_replace)
    files.store(b"slip", ".pdf")
    assert steps == ["file", "name", "folder", "folder"]


@pytest.mark.parametrize("suffix", ["", "pdf", ".", ".PDF", "./x", ".p/f", "..", ".pdf\n", ".ninecharsx", "/../x.pdf"])
def test_another_suffix_is_refused(suffix: str, storage: Path) -> None:
    with pytest.raises(ValueError, match="is not a suffix"):
        files.store(b"slip", suffix)
    assert not storage.exists()


@pytest.mark.parametrize(
    "name",
    [
        "",
        "../secret-key",
        "/etc/passwd",
        f"ab/../../{'a' * 64}.pdf",
        f"ab/{'a' * 63}.pdf",
        f"ab/{'A' * 64}.pdf",
        f"ab/{'a' * 64}.pdf\n",
        f"ab/{'a' * 64}.pdf/../x",
        f"ab/{'a' * 64}",
    ],
)
def test_a_path_of_another_kind_is_refused(name: str, storage: Path) -> None:
    files.store(b"slip", ".pdf")
    (storage.parent / "secret-key").write_text("secret")
    with pytest.raises(ValueError, match="is not the name of a stored file"):
        files.open_file(name)


def test_a_lost_file_is_told() -> None:
    with pytest.raises(FileNotFoundError):
        files.open_file(f"ab/{'a' * 64}.pdf")


def broken_off() -> Iterator[bytes]:
    """A paper whose making fails half way."""
    yield b"%PDF"
    raise RuntimeError("no more paper")


def test_what_breaks_off_leaves_nothing(storage: Path) -> None:
    with pytest.raises(RuntimeError, match="no more paper"):
        files.store(broken_off(), ".pdf")
    assert everything(storage) == []


def test_a_full_disk_leaves_nothing(storage: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        files.store(b"slip", ".pdf")
    assert everything(storage) == []


def test_a_file_is_forgotten_where_no_row_uses_it(storage: Path) -> None:
    stored = files.store(b"scan", ".stl")
    assert not files.forget(stored.name, lambda: True)
    assert everything(storage) == [storage / stored.name]
    assert files.forget(stored.name, lambda: False)
    assert everything(storage) == []
    assert files.forget(stored.name, lambda: False), "once more does no harm"


@pytest.mark.parametrize("name", ["../secret-key", "/etc/passwd", "ab/cd", ""])
def test_only_files_of_the_store_are_forgotten(name: str, storage: Path) -> None:
    (storage.parent / "secret-key").write_text("x")
    with pytest.raises(ValueError, match="is not the name"):
        files.forget(name, lambda: False)
    assert (storage.parent / "secret-key").exists()


def test_while_a_row_is_being_written_nobody_forgets(storage: Path) -> None:
    stored, used = files.store(b"scan", ".stl"), False
    asked, gone = threading.Event(), []

    def forget() -> None:
        asked.set()
        gone.append(files.forget(stored.name, lambda: used))

    with files.keeping(), files.keeping():
        other = threading.Thread(target=forget)
        other.start()
        assert asked.wait(10)
        used = True  # the row that is committed before the lock ends
        assert gone == []
    other.join(10)
    assert gone == [False]
    assert files.open_file(stored.name).read() == b"scan"
