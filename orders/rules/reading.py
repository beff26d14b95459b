"""Rule of the second reading: who compares label and scan body with the order finds what was ordered."""

from collections.abc import Iterator
from dataclasses import dataclass

from orders.choices import Level
from orders.materials import Connection
from orders.models import Item
from orders.models.columns import millimetres
from orders.rules.look import Spot


@dataclass(frozen=True)
class Reading:
    """What a second person read off label or scan body for a piece; the platform in hundredths of a millimetre."""

    item: Item
    system: str
    connection: str
    platform: int | None
    level: str


def differs(read: Reading) -> Iterator[Spot]:
    """Both people read the same. Capitals and spaces of a system's name do not count."""
    item = read.item
    if not same_text(read.system, item.system):
        yield spot("system", read.system, item.system)
    if read.connection != item.connection:
        yield spot("connection", label(Connection, read.connection), label(Connection, item.connection))
    if read.platform != item.platform:
        yield spot("platform", millimetres(read.platform), millimetres(item.platform))
    # The level may have been answered for in words.
    if item.level and read.level != item.level:
        yield spot("level", label(Level, read.level), label(Level, item.level))


def spot(field: str, read: str, ordered: str) -> Spot:
    """Both values side by side."""
    why = f"The {field} was read as “{read or 'nothing'}”, ordered is “{ordered or 'nothing'}”. "
    return Spot(field, f"{why}Read it again; if it stays so, ask the practice and let it correct the prescription.")


def same_text(one: str, other: str) -> bool:
    """The same name, however it is written."""
    return "".join(one.split()).casefold() == "".join(other.split()).casefold()


def label(words: type[Connection] | type[Level], word: str) -> str:
    """A word for people; what is none as it is."""
    return str(words(word).label) if word in words.values else word
