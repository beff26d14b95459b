"""Long work with a sign of life, so that a short lease tells a worker that is busy from one that was killed."""

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor, wait
from threading import Event
from typing import TypeVar

T = TypeVar("T")
GoOn = Callable[[], None]
"""Asked by the work now and then; raises GivenUp where nobody waits for it any more."""


class GivenUp(Exception):
    """Nobody waits for the answer."""


def with_pulse(work: Callable[[GoOn], T], pulse: Callable[[], object], every: float) -> T:
    """The answer of `work`, which runs in a thread of its own and without the database; `pulse` beats in this one.

    `pulse` is called each `every` seconds until the work ends. Raises what the work raises, and at once what `pulse`
    raises: then the work is given up, and ends when it asks next whether to go on.
    """
    pool = ThreadPoolExecutor(1, thread_name_prefix="pulse")
    given_up = Event()

    def go_on() -> None:
        if given_up.is_set():
            raise GivenUp

    try:
        answer: Future[T] = pool.submit(work, go_on)
        while not wait([answer], timeout=every).done:
            pulse()
        return answer.result()
    finally:
        given_up.set()
        pool.shutdown(wait=False)
