"""What a forecast says in one line, for people."""

from collections.abc import Mapping, Sequence

from labqueue.planning.snapshot import OpenCase

# Less waiting than this, in minutes, is not worth a word.
HARDLY = 30.0
# Said of a case that is packed, on its way or cancelled.
NOTHING_LEFT = "nothing is left to forecast"


def reason(case: OpenCase, waits: Mapping[str, float | None], names: Mapping[str, str]) -> str:
    """Why a case is finished when it is: where its pieces wait most. `waits` are mean minutes by station."""
    longest = max(waits, key=lambda code: waits[code] or 0.0, default="")
    minutes = waits.get(longest) or 0.0
    if case.held_since:
        return f"on hold, waits for an answer{then(names.get(longest, longest), minutes)}"
    if minutes < HARDLY:
        return "hardly waits: the work itself takes the time"
    return f"waits mostly at {names.get(longest, longest)}, {about(minutes)}"


def then(name: str, minutes: float) -> str:
    """The second half of a sentence: where it waits besides."""
    return "" if minutes < HARDLY else f"; then mostly at {name}, {about(minutes)}"


def about(minutes: float) -> str:
    """A duration by the clock, as roughly as it is known: `about 40 min`, `about 9 h`, `about 3 days`."""
    if minutes < 90:
        return f"about {max(round(minutes / 5) * 5, 5)} min"
    if minutes < 48 * 60:
        return f"about {round(minutes / 60)} h"
    return f"about {round(minutes / 1440)} days"


def bottleneck(late: float, wait: float | None, utilisation: float | None) -> str:
    """What makes a station the bottleneck. `late` in expected cases, `wait` in minutes, `utilisation` as a share."""
    facts: Sequence[str] = [
        *([f"an estimated {late:.1f} late case{'' if round(late, 1) == 1 else 's'}"] if late >= 0.05 else []),
        *([f"{about(wait)} of waiting per step"] if wait and wait >= 5 else []),
        *([f"{utilisation * 100:.0f} % of its open time in use"] if utilisation is not None else []),
    ]
    return ", ".join(facts)
