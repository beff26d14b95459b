"""Run as a process of its own: takes in and looks at the files that it is given; prints how much its memory grew.

One line per file: the growth in KiB since before the first, a tab, and what became of it.
"""

import resource
import sys
from pathlib import Path

import django

django.setup()

from labqueue.base.errors import Refusal  # noqa: E402
from orders.attachments import content, preview  # noqa: E402
from orders.attachments.mesh import Unusable  # noqa: E402


def peak() -> int:
    """The most memory that this process has had, in KiB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def outcome(path: Path) -> str:
    """`ready`, or why the file is refused."""
    size = path.stat().st_size
    with path.open("rb") as file:
        try:
            kind = content.recognise(file, size)
            taken = sum(len(part) for part in content.cleaned(file, kind, size))
            file.seek(0)
            preview.look(kind, file, taken, lambda share: None)
        except (Refusal, Unusable) as why:
            return str(why)
    return "ready"


def main(first: str, *others: str) -> None:
    """The first file only warms up: what is loaded once is not the files' doing."""
    outcome(Path(first))
    before = peak()
    for other in others:
        said = outcome(Path(other))
        print(f"{peak() - before}\t{said}")


if __name__ == "__main__":
    main(*sys.argv[1:])
