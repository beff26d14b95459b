"""The rooms stand in one line; a room imports only from its left, and the house has no other top-level entries."""

import ast
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.harness.house import ROOT

pytestmark = pytest.mark.once

LINE = [
    "labqueue.engine",
    "labqueue.base",
    "orders",
    "labqueue.production",
    "labqueue.planning",
    "shipping",
    "labqueue",
]
FILES = {"README.md", "DEVELOPERS.md", "pyproject.toml", "manage.py"}
FOLDERS = {"labqueue", "orders", "shipping", "tests", "fixtures"}
FRAMEWORKS = {"django", "rest_framework", "celery", "redis", "reportlab", "kombu", "drf_spectacular"}


def room_of(module: str) -> str | None:
    """The room a module stands in, or None where it is none of ours."""
    inside = [room for room in LINE if module == room or module.startswith(room + ".")]
    return max(inside, key=len, default=None)


def sources() -> list[Path]:
    """All files of the rooms, migrations too."""
    return [path for top in ("labqueue", "orders", "shipping") for path in sorted((ROOT / top).rglob("*.py"))]


def module_of(path: Path) -> str:
    """`orders/due.py` is `orders.due`."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports(source: str, module: str, is_package: bool = False) -> Iterator[str]:
    """All modules that a source imports, wherever in it, as absolute names."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            here = module.split(".") if is_package else module.split(".")[:-1]
            base = here[: len(here) - node.level + 1] if node.level else []
            origin = ".".join([*base, *([node.module] if node.module else [])])
            yield from (f"{origin}.{alias.name}" for alias in node.names)


def wrong_imports(source: str, module: str, is_package: bool = False) -> list[str]:
    """Imports of a room that stands to the right of the module's own."""
    own = room_of(module)
    assert own is not None, f"{module} stands in no room"
    found = [(name, room_of(name)) for name in imports(source, module, is_package)]
    return [f"{module} imports {name}" for name, room in found if room and LINE.index(room) > LINE.index(own)]


def test_no_room_imports_from_its_right() -> None:
    files = sources()
    assert len(files) > 50
    assert [
        line for path in files for line in wrong_imports(path.read_text(), module_of(path), path.name == "__init__.py")
    ] == []


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("labqueue.base.money", "import orders.models"),
        ("orders.due", "from labqueue.production import reads"),
        ("orders.due", "def late() -> None:\n    from shipping import dispatch"),
        ("labqueue.planning.risk", "from labqueue import settings"),
        ("labqueue.engine.run", "from ..base import models"),
        ("orders.due", "from labqueue.celery import app"),
    ],
)
def test_an_import_to_the_right_is_seen(module: str, source: str) -> None:
    assert len(wrong_imports(source, module)) == 1


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("shipping.dispatch", "from orders import lifecycle\nfrom labqueue.base import audit"),
        ("labqueue.home", "from shipping import reads"),
        ("orders.due", "from . import models\nimport labqueue.base.workdays\nimport django"),
    ],
)
def test_an_import_from_the_left_is_allowed(module: str, source: str) -> None:
    assert wrong_imports(source, module) == []


def test_the_engine_knows_no_framework() -> None:
    files = [path for path in sources() if module_of(path).startswith("labqueue.engine")]
    assert files
    names = {name.split(".")[0] for path in files for name in imports(path.read_text(), module_of(path))}
    assert not names & FRAMEWORKS


def test_the_house_has_no_other_entries() -> None:
    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout.split()
    assert {name.split("/")[0] for name in tracked if not name.startswith(".")} <= FILES | FOLDERS


def test_nothing_speaks_by_signals() -> None:
    """What happens after a change stands where the change is made."""
    said = [path for path in sources() if "django.dispatch" in path.read_text() or "models.signals" in path.read_text()]
    assert said == []
