"""Measuring: processor time of one call."""

import time
from collections.abc import Callable


def processor_seconds(call: Callable[[], object]) -> float:
    """The processor seconds, of all threads of this process, that one call takes."""
    begin = time.process_time()
    call()
    return time.process_time() - begin
