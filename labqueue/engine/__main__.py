"""The command line: `python -m labqueue.engine shop.json --replications 1000 --seed 7 > forecast.json`.

`python -m labqueue.engine benchmark` measures the engine; a shop file of that name is given as ./benchmark.
"""

import argparse
import json
import sys
from collections.abc import Sequence
from pathlib import Path

from labqueue.engine import Shop, ShopError, simulate
from labqueue.engine.benchmark import command as benchmark
from labqueue.engine.forecast import MOST_REPLICATIONS

REFUSED = 2


def main(arguments: Sequence[str] | None = None) -> int:
    """Read a shop file (`-`: standard input), print its forecast; exit status 2 and one line where it is refused."""
    arguments = sys.argv[1:] if arguments is None else arguments
    if arguments and arguments[0] == "benchmark":
        return benchmark.main(arguments[1:])
    parser = argparse.ArgumentParser(prog="python -m labqueue.engine", description="Forecast the jobs of a shop.")
    parser.add_argument("shop", help="the shop file (JSON), or - for standard input")
    parser.add_argument("--replications", type=_count, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--threads", type=_count, default=1)
    given = parser.parse_args(arguments)
    try:
        shop = Shop.from_dict(_read(given.shop))
        forecast = simulate(shop, given.replications, given.seed, given.threads)
    except ShopError as refusal:
        sys.stderr.write(f"{refusal}\n")
        return REFUSED
    json.dump(forecast.to_dict(), sys.stdout, ensure_ascii=False, indent=1, allow_nan=False)
    sys.stdout.write("\n")
    return 0


def _count(text: str) -> int:
    number = int(text)
    if number < 1:
        raise argparse.ArgumentTypeError(f"must be at least 1, not {number}")
    if number > MOST_REPLICATIONS:
        raise argparse.ArgumentTypeError(f"must be at most {MOST_REPLICATIONS}, not {number}")
    return number


def _read(name: str) -> object:
    """The JSON document in a file; a key that stands twice in one object is refused, for one of them would be lost."""
    try:
        raw = sys.stdin.read() if name == "-" else Path(name).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as problem:
        raise ShopError(f"{name}: cannot be read: {problem}") from problem
    try:
        return json.loads(raw, object_pairs_hook=_unique)
    except RecursionError as problem:
        raise ShopError(f"{name}: is nested too deeply") from problem
    except ShopError:
        raise
    except ValueError as problem:
        raise ShopError(f"{name}: is not JSON: {problem}") from problem


def _unique(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found: dict[str, object] = {}
    for key, value in pairs:
        if key in found:
            raise ShopError(f'the key "{key}" stands twice in one object')
        found[key] = value
    return found


if __name__ == "__main__":
    sys.exit(main())
