"""Write the lock files anew from pyproject.toml: `.venv/bin/python .ci/lock.py` (needs uv beside it or on PATH).

They hold exact versions with hashes for every platform and Python from 3.11, and name no index. Versions that are
locked already are kept; `--upgrade` takes the newest that pyproject.toml allows.
"""

import shutil
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
OPTIONS = [
    *("--universal", "--python-version", "3.11", "--generate-hashes", "--quiet"),
    *("--no-emit-index-url", "--no-emit-find-links", "--custom-compile-command", "python .ci/lock.py"),
]


def uv() -> str:
    """The uv beside this interpreter, or the one on PATH."""
    found = shutil.which("uv", path=str(Path(sys.executable).parent)) or shutil.which("uv")
    if found is None:
        raise SystemExit("lock: uv is missing; install it with: .venv/bin/python -m pip install uv")
    return found


def compile_lock(name: str, *options: str) -> None:
    """Write `.ci/<name>.lock`."""
    command = [uv(), "pip", "compile", "pyproject.toml", *OPTIONS, *options, "-o", f".ci/{name}.lock"]
    subprocess.run(command, cwd=HERE.parent, check=True, stdout=subprocess.DEVNULL)


def main() -> None:
    upgrade = [option for option in sys.argv[1:] if option == "--upgrade"]
    compile_lock("test", "--extra", "test", *upgrade)
    compile_lock("runtime", "--constraint", ".ci/test.lock", *upgrade)


if __name__ == "__main__":
    main()
