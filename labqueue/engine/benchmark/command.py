"""The command line of the benchmark: `python -m labqueue.engine benchmark`."""

import argparse
import sys
from collections.abc import Sequence
from importlib.util import find_spec

from labqueue.engine import warm_up

NEEDED = ("simpy", "ciw")
DISAGREE = 1
MISSING = 2


def main(arguments: Sequence[str]) -> int:
    """Measure and print; exit status 1 if the answers disagree, 2 and one line if SimPy or Ciw is not installed."""
    parser = argparse.ArgumentParser(
        prog="python -m labqueue.engine benchmark",
        description="Measure the engine on this machine, beside SimPy and Ciw on the same shops.",
    )
    parser.add_argument("--quick", action="store_true", help="small shops only, about half a minute")
    parser.add_argument(
        "--random-shops", type=_at_least_one, metavar="N", help="compare with SimPy on N small random shops instead"
    )
    given = parser.parse_args(arguments)
    missing = [name for name in NEEDED if find_spec(name) is None]
    if missing:
        sys.stderr.write(f"the benchmark needs {' and '.join(missing)}; install the project with its test extras\n")
        return MISSING
    warm_up()
    agree = _random_shops(given.random_shops) if given.random_shops else _report(given.quick)
    return 0 if agree else DISAGREE


def _at_least_one(text: str) -> int:
    number = int(text)
    if number < 1:
        raise argparse.ArgumentTypeError(f"must be at least 1, not {number}")
    return number


def _report(quick: bool) -> bool:
    # here, for these import SimPy and Ciw, which may be missing
    from labqueue.engine.benchmark.report import FULL, QUICK, report

    return report(QUICK if quick else FULL, _write)


def _random_shops(number: int) -> bool:
    from labqueue.engine.benchmark.many_shops import BAND, compare_many

    apart = compare_many(0, number)
    _write("".join(f"{line}\n" for line in apart.worst))
    _write(f"{apart.shops} random shops, {apart.comparisons} figures compared with SimPy, {apart.outside} outside the ")
    _write(f"{BAND:.1%} band: a share of {apart.share:.4f}, where {1 - BAND:.4f} is expected of answers that agree.\n")
    return apart.agrees


def _write(words: str) -> None:
    sys.stdout.write(words)
    sys.stdout.flush()
