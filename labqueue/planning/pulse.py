"""Long work with a sign of life, so that a short lease tells a worker that is busy from one that was killed."""

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor, wait
from typing import TypeVar

T = TypeVar("T")


def with_pulse(work: Callable[[], T], pulse: Callable[[], object], every: float) -> T:
    """The answer of `work`, which runs in a thread of its own and without the database; `pulse` beats in this one.

    `pulse` is called each `every` seconds until the work ends. Raises what the work raises, and at once what `pulse`
    raises: then the work is given up, and whatever it still computes is dropped.
    """
    pool = ThreadPoolExecutor(1, thread_name_prefix="pulse")
    try:
        answer: Future[T] = pool.submit(work)
        while not wait([answer], timeout=every).done:
            pulse()
        return answer.result()
    finally:
        pool.shutdown(wait=False)
