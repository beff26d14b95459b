"""Measuring time and memory: of calls in this process, and of a forecast in a process of its own."""

import json
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from statistics import median


def processor_seconds(call: Callable[[], object]) -> float:
    """The processor seconds, of all threads of this process, that one call takes."""
    begin = time.process_time()
    call()
    return time.process_time() - begin


def wall_seconds(call: Callable[[], object]) -> float:
    """The seconds by the clock that one call takes."""
    begin = time.perf_counter()
    call()
    return time.perf_counter() - begin


def medians(
    calls: Mapping[str, Callable[[], object]],
    repeats: int,
    seconds: Callable[[Callable[[], object]], float] = processor_seconds,
) -> dict[str, float]:
    """The median seconds of each call; they take turns, so that what else the machine does falls on all alike."""
    taken: dict[str, list[float]] = {name: [] for name in calls}
    for _ in range(repeats):
        for name, call in calls.items():
            taken[name].append(seconds(call))
    return {name: median(values) for name, values in taken.items()}


@dataclass(frozen=True)
class Alone:
    """What a forecast in a fresh process took: seconds by the clock, and the most memory that it held."""

    import_seconds: float
    first_seconds: float
    """The first forecast: the kernel is loaded from the cache, and one replication is simulated."""
    bytes: int


FRESH = """
import json, re, resource, sys, time
from pathlib import Path
begin = time.perf_counter()
from labqueue.engine import Shop, simulate
imported = time.perf_counter()
from labqueue.engine.benchmark.laboratory import laboratory
shop = Shop.from_dict(laboratory(int(sys.argv[1])))
made = time.perf_counter()
simulate(shop, 1)
done = time.perf_counter()
if int(sys.argv[2]) > 1:
    simulate(shop, int(sys.argv[2]))
status = Path("/proc/self/status")
found = re.search(r"VmHWM:\\s+(\\d+) kB", status.read_text()) if status.exists() else None
if found:
    most = int(found[1]) * 1024
else:
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)
json.dump([imported - begin, done - made, most], sys.stdout)
"""
"""Linux carries the most memory of the process that started it into `getrusage`, so its own count comes first."""


def alone(jobs: int, replications: int) -> Alone:
    """Forecast the laboratory in a fresh process."""
    command = [sys.executable, "-c", FRESH, str(jobs), str(replications)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return Alone(*json.loads(done.stdout))
