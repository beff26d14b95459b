"""No file decides how much memory is taken, be it large and good or small and bad."""

import os
import struct
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from tests.harness.house import ROOT
from tests.orders.attachments import build as made
from tests.orders.attachments.test_photos import bomb

pytestmark = pytest.mark.once
MIB = 1024


def large_stl(path: Path) -> None:
    """A good one of 100 MB: two million triangles."""
    some = made.stl(np.tile(made.triangles(), (45, 1, 1)))[84:]
    times = 20
    with path.open("wb") as file:
        file.write(bytes(80) + struct.pack("<I", times * len(some) // 50))
        for _ in range(times):
            file.write(some)


def large_obj(path: Path) -> None:
    """A good one of some hundred thousand faces over few points."""
    points, faces = made.obj().split(b"\nf ", 1)
    path.write_bytes(points + (b"\nf " + faces) * 150)


def large_ply(path: Path) -> None:
    """A good one of a million points and as many triangles."""
    points, faces = made.crown()
    rows = np.zeros(1_000_000, dtype=[("n", "u1"), ("corners", "<i4", 3)])
    rows["n"], rows["corners"] = 3, np.resize(faces, (1_000_000, 3))
    header = made.ply_header("binary_little_endian", 1_000_000, 1_000_000)
    path.write_bytes(header + np.resize(points, (1_000_000, 3)).astype("<f4").tobytes() + rows.tobytes())


def whole(data: bytes) -> Callable[[Path], object]:
    """A small file."""
    return lambda path: path.write_bytes(data)


FILES: dict[str, tuple[Callable[[Path], object], str]] = {
    "large stl": (large_stl, "ready"),
    "large obj": (large_obj, "ready"),
    "large ply": (large_ply, "ready"),
    "171 million claimed": (whole(made.stl(count=171_000_000)), "it states 171,000,000 triangles"),
    "ply of 900 million": (whole(made.ply_header("ascii", 900_000_000, 900_000_000)), "900,000,000 points"),
    "png bomb": (whole(bomb(60_000, 60_000)), "60,000 x 60,000 pixels"),
    "endless line": (whole(made.obj() + b"\n#" + b"x" * 10_000_000), "more than 1000 characters"),
    "endless first line": (whole(b"v " + b"1" * 10_000_000), "no type that is known"),
    "zip bomb": (whole(b"PK\x03\x04" + bytes(30_000_000)), "ZIP archive"),
    "huge triangles": (whole(made.stl(np.resize(made.triangles()[:4] * 50, (50_000, 3, 3)))), "ready"),
}


def test_memory_grows_by_64_mib_at_most(tmp_path: Path) -> None:
    made_files = [tmp_path / "warm-up", *(tmp_path / name.replace(" ", "-") for name in FILES)]
    made_files[0].write_bytes(made.stl())
    for path, (make, _) in zip(made_files[1:], FILES.values(), strict=True):
        make(path)
    command = [sys.executable, "-m", "tests.orders.attachments.memory", *map(str, made_files)]
    ran = subprocess.run(command, cwd=ROOT, env=os.environ, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr
    told = [line.split("\t") for line in ran.stdout.splitlines()]
    for (name, (_, sentence)), (grown, said) in zip(FILES.items(), told, strict=True):
        assert sentence in said, name
        assert int(grown) <= 64 * MIB, f"{name}: {int(grown) // MIB} MiB"
