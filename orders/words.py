"""Orders in words, as people read them."""

from collections.abc import Collection, Iterable
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import Model, TextChoices

from labqueue.base.templatetags.house import day, moment
from orders import teeth
from orders.choices import Allergen, Enclosed
from orders.findings import Finding, Severity
from orders.materials import Kind, Material, lower_first
from orders.models import Case, Item, Practice
from orders.models.columns import LENGTHS_MM, millimetres

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

# The columns that hold several words, and what stands behind a number.
LISTS: dict[str, type[TextChoices]] = {"allergens": Allergen, "enclosed": Enclosed}
UNITS = {"angle": "°", "disinfected_minutes": " minutes"}


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


def finding(found: Finding, pieces: Iterable[Item], practice: Practice) -> str:
    """What was found in an order, a piece's with its tooth."""
    piece = next((one for one in pieces if found.line and one.line == found.line), None)
    place = f"Tooth {teeth.shown(piece.tooth, practice.notation)}: " if piece and piece.tooth else ""
    return f"{place}{found}"


def findings(found: Iterable[Finding], severity: Severity, pieces: Collection[Item], practice: Practice) -> list[str]:
    """What was found of one severity, each once."""
    return list(dict.fromkeys(finding(one, pieces, practice) for one in found if one.severity == severity))


def by_tooth(items: Iterable[Item], practice: Practice) -> list[tuple[dict[str, str], list[str]]]:
    """The teeth in the order of the lines, each with the words for its pieces."""
    found: dict[int, list[str]] = {}
    for item in items:
        found.setdefault(item.tooth, []).append(piece(item))
    return [(tooth(fdi, practice), pieces) for fdi, pieces in found.items()]


def said(row: Model, name: str) -> str:
    """What a column says, for people: `4.3 mm`, `20°`, `yes`, the words of a list; empty where it says nothing."""
    value, display = getattr(row, name), getattr(row, f"get_{name}_display", None)
    if display is not None:
        return str(display())
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(LISTS[name](one).label.lower() for one in value)
    if isinstance(value, date):
        return day(value)
    if name in LENGTHS_MM:
        return millimetres(value)
    return "" if value is None else f"{value}{UNITS.get(name, '')}"


def when(at: datetime | None, practice: Practice) -> str:
    """An instant in the laboratory's zone; where the practice has another, in both: `Tue 24 Nov, 16:30 (…)`."""
    if at is None or practice.time_zone == settings.TIME_ZONE:
        return moment(at)
    there = at.astimezone(ZoneInfo(practice.time_zone))
    return f"{moment(at)} ({there:%a %-d %b, %H:%M} at the practice, {practice.time_zone})"
