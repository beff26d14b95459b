"""Checked reading of the values in a shop file: each refusal names the place and says what would do."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timezone
from typing import Any, NoReturn

LONGEST_MINUTES = 1e8
"""The longest duration accepted, in minutes (190 years): beyond it, microseconds would not fit a float exactly."""


LARGEST = 1e15
"""The largest number of any kind accepted; floats count whole numbers exactly up to there."""
FIRST_YEAR, LAST_YEAR = 1900, 2300


class ShopError(ValueError):
    """A shop that cannot be simulated; its text is one line that names the place (`jobs[2].route: no route "x"`)."""


def refuse(place: str, sentence: str) -> NoReturn:
    """Raise the refusal `place: sentence` (or the bare sentence where the place is the shop itself)."""
    line = f"{place}: {sentence}" if place else sentence
    raise ShopError(" ".join(line.split()))


def join(place: str, key: str) -> str:
    """The place of `key` inside `place`."""
    return f"{place}.{key}" if place else key


def mapping(
    value: object, place: str, *, known: Iterable[str] | None = None, needs: Sequence[str] = ()
) -> dict[str, Any]:
    """`value` as an object with text keys, refused where a key is not `known` or one of `needs` is missing."""
    if not isinstance(value, Mapping):
        refuse(place, "must be an object {…}")
    allowed = None if known is None else set(known)
    for key in value:
        if not isinstance(key, str):
            refuse(place, f"the key {key!r} must be text")
        if allowed is not None and key not in allowed:
            refuse(join(place, key), f"unknown key; known are {', '.join(sorted(allowed))}")
    for key in needs:
        if key not in value:
            refuse(join(place, key), "is missing")
    return dict(value)


def listing(value: object, place: str) -> list[Any]:
    """`value` as a list."""
    if not isinstance(value, list | tuple):
        refuse(place, "must be a list […]")
    return list(value)


def text(value: object, place: str) -> str:
    """`value` as text that is not empty."""
    if not isinstance(value, str) or not value:
        refuse(place, "must be text that is not empty")
    if any("\ud800" <= letter <= "\udfff" for letter in value):
        refuse(place, "must be text in which no half of a surrogate pair stands alone")
    return value


def truth(value: object, place: str) -> bool:
    """`value` as true or false."""
    if not isinstance(value, bool):
        refuse(place, "must be true or false")
    return value


def number(value: object, place: str, *, above: float | None = None, least: float | None = None) -> float:
    """`value` as a finite number, `above` a bound or at `least` another."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) <= LARGEST:
        refuse(place, "must be a finite number")
    if above is not None and value <= above:
        refuse(place, f"must be above {above:g}, not {value:g}")
    if least is not None and value < least:
        refuse(place, f"must be at least {least:g}, not {value:g}")
    return float(value)


def minutes(value: object, place: str, *, above: float | None = None) -> float:
    """`value` as a duration in minutes, never negative."""
    result = number(value, place, above=above, least=0)
    if result > LONGEST_MINUTES:
        refuse(place, f"must be at most {LONGEST_MINUTES:g} minutes, not {result:g}")
    return result


def whole(value: object, place: str, *, least: int, most: int = 10**9) -> int:
    """`value` as a whole number of `least` … `most`; 3.0 counts as 3."""
    result = number(value, place, least=least)
    if result != int(result):
        refuse(place, f"must be a whole number, not {result:g}")
    if result > most:
        refuse(place, f"must be at most {most}, not {result:g}")
    return int(result)


def instant(value: object, place: str) -> datetime:
    """`value` as an instant: ISO 8601 with an offset from UTC."""
    parsed = value if isinstance(value, datetime) else None
    if isinstance(value, str):
        try:
            parsed = datetime.fromisoformat(value)
        except ValueError:
            refuse(place, f'must be an instant in ISO 8601 such as 2026-03-02T09:30:00-05:00, not "{value}"')
    if parsed is None:
        refuse(place, "must be an instant in ISO 8601 such as 2026-03-02T09:30:00-05:00")
    offset = parsed.utcoffset()
    if offset is None:
        refuse(place, f'"{value}" needs an offset from UTC such as -05:00')
    if not FIRST_YEAR <= parsed.year <= LAST_YEAR:
        refuse(place, f"must lie between the years {FIRST_YEAR} and {LAST_YEAR}")
    return parsed.astimezone(timezone(offset))


def known_name(value: object, place: str, names: Iterable[str], kind: str) -> str:
    """`value` as one of `names`; the refusal reads `no station "miling"`."""
    name = text(value, place)
    if name not in names:
        refuse(place, f'no {kind} "{name}"')
    return name


def names(value: object, place: str, known: Iterable[str], kind: str) -> tuple[str, ...]:
    """`value` as a list of different names out of `known`."""
    found: list[str] = []
    for number_, item in enumerate(listing(value, place)):
        name = known_name(item, f"{place}[{number_}]", known, kind)
        if name in found:
            refuse(f"{place}[{number_}]", f'the {kind} "{name}" is named twice')
        found.append(name)
    return tuple(found)
