"""Orders in words, as people read them."""

from collections.abc import Iterable
from datetime import datetime
from zoneinfo import ZoneInfo

from django.conf import settings

from labqueue.base.templatetags.house import moment
from orders import teeth
from orders.materials import Kind, Material, lower_first
from orders.models import Case, Item, Practice

S = Case.State
TONES = {
    S.DRAFT: "quiet",
    S.SIGNED: "watch",
    S.ACCEPTED: "run",
    S.RELEASED: "run",
    S.FINISHED: "good",
    S.PACKED: "good",
    S.SHIPPED: "quiet",
    S.CANCELLED: "quiet",
}


def state(case: Case) -> tuple[str, str]:
    """The state of a case in a word or two, and its tone; a case that stands still says so."""
    return ("On hold", "watch") if case.on_hold else (short(case.get_state_display()), TONES[S(case.state)])


def short(label: str) -> str:
    """A state's label without what it waits for."""
    return label.split(",")[0]


def notation_name(practice: Practice) -> str:
    """The name of the practice's notation, as it stands beside the number of a tooth."""
    return teeth.NOTATION_NAMES[practice.notation]


def tooth(fdi: int, practice: Practice) -> dict[str, str]:
    """A tooth as the practice writes it, as the part `tooth.html` takes it."""
    name = notation_name(practice)
    beside = "" if practice.notation == teeth.Notation.FDI else f", FDI {fdi}"
    return {"number": teeth.sign(fdi, practice.notation), "notation": name + beside, "words": teeth.words(fdi)}


def piece(item: Item) -> str:
    """What is made: `Layered crown on an abutment, zirconia 3Y`."""
    kind = Kind(item.kind).label
    return f"{f'Layered {lower_first(kind)}' if item.layered else kind}, {lower_first(Material(item.material).label)}"


def by_tooth(items: Iterable[Item], practice: Practice) -> list[tuple[dict[str, str], list[str]]]:
    """The teeth in the order of the lines, each with the words for its pieces."""
    found: dict[int, list[str]] = {}
    for item in items:
        found.setdefault(item.tooth, []).append(piece(item))
    return [(tooth(fdi, practice), pieces) for fdi, pieces in found.items()]


def when(at: datetime | None, practice: Practice) -> str:
    """An instant in the laboratory's zone; where the practice has another, in both: `Tue 24 Nov, 16:30 (…)`."""
    if at is None or practice.time_zone == settings.TIME_ZONE:
        return moment(at)
    there = at.astimezone(ZoneInfo(practice.time_zone))
    return f"{moment(at)} ({there:%a %-d %b, %H:%M} at the practice, {practice.time_zone})"
