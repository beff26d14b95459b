"""Reading an order: all its faults at once, each with its field, or the pieces as rows that can be saved."""

from collections.abc import Iterator, Sequence
from decimal import Decimal

from labqueue.base.errors import Fault, Refusal
from orders import teeth
from orders.facts import ItemFacts, OrderFacts
from orders.materials import Connection, Kind, Material, Retention, Stage
from orders.models import Item
from orders.patients import reference_faults
from orders.rules import RETENTIONS, Wrong, fault_at, item_faults, whole_faults

NOTE_LENGTH = 500
# As many as the slip in the box has room for on one page.
MOST_ITEMS = 8


def read_order(order: OrderFacts) -> tuple[list[Item], list[Fault]]:
    """The pieces in their order, not yet saved, and everything that is wrong with the order but its date."""
    faults = reference_faults(order.patient_ref) + stage_faults(order.stage) + note_faults(order.note)
    if not 1 <= len(order.items) <= MOST_ITEMS:
        why = f"Order at least one piece and at most {MOST_ITEMS}. Open another case for what is beyond."
        faults.append(Fault("items", why, "items"))
        return [], faults
    pieces, wrong = read_items(order.stage, order.items)
    return pieces, faults + wrong


def read_items(stage: str, given: Sequence[ItemFacts]) -> tuple[list[Item], list[Fault]]:
    """The pieces with all faults of each (`items.0.tooth`) and of all together."""
    pieces: list[Item] = []
    wrong: list[tuple[int, Wrong]] = []
    for index, facts in enumerate(given):
        item, faults = read_item(stage, facts)
        pieces.append(item)
        wrong += [(index, fault) for fault in faults]
    wrong += whole_faults(pieces)
    return pieces, [fault_at(index, found) for index, found in wrong]


def read_item(stage: str, facts: ItemFacts) -> tuple[Item, list[Wrong]]:
    """One piece with its faults. The rules are asked once all words are known; a tooth of 0 could not be read."""
    tooth, unread = read_tooth(facts)
    item = Item(stage=stage, kind=facts.kind, tooth=tooth, material=facts.material, layered=facts.layered)
    item.shade, item.system = " ".join(facts.shade.split()), " ".join(facts.system.split())
    item.retention, item.connection = facts.retention or usual_retention(facts.kind), facts.connection
    item.platform = hundredths(facts.platform)
    words = list(unknown_words(facts))
    return item, unread + (words or (item_faults(item) if stage in Stage.values else []))


def read_tooth(facts: ItemFacts) -> tuple[int, list[Wrong]]:
    """The FDI number; 0 with the fault where it cannot be read."""
    try:
        return teeth.read(facts.tooth, facts.notation), []
    except Refusal as refusal:
        return 0, [Wrong("tooth", fault.message) for fault in refusal.faults]


def usual_retention(kind: str) -> str:
    """What a practice need not say."""
    return RETENTIONS[Kind(kind)][0] if kind in Kind.values else ""


def hundredths(platform: Decimal | None) -> int | None:
    """Millimetres in hundredths; 0, which no rule lets pass, where it is no such number."""
    if platform is None:
        return None
    exact = platform * 100 if platform.is_finite() and abs(platform) < 1000 else Decimal(0)
    return int(exact) if exact == exact.to_integral_value() else 0


def unknown_words(facts: ItemFacts) -> Iterator[Wrong]:
    """Words that are not in the trade's lists. Retention and connection may be left out."""
    yield from unknown("kind", facts.kind, Kind.values)
    yield from unknown("material", facts.material, Material.values)
    yield from unknown("retention", facts.retention, ["", *Retention.values])
    yield from unknown("connection", facts.connection, ["", *Connection.values])


def unknown(field: str, word: str, values: list[str]) -> Iterator[Wrong]:
    """The fault of a word that is not among `values`."""
    if word not in values:
        start = f"“{word[:40]}” is no {field} here" if word else f"Choose the {field}"
        yield Wrong(field, f"{start}. Possible: {', '.join(value for value in values if value)}.")


def stage_faults(stage: str) -> list[Fault]:
    """A provisional or a final, nothing else."""
    if stage in Stage.values:
        return []
    return [Fault("stage", f"Say which stage it is: {' or '.join(Stage.values)}.", "stage")]


def note_faults(note: str) -> list[Fault]:
    """A note has an end."""
    if len(note) <= NOTE_LENGTH:
        return []
    return [Fault("note", f"The note has {len(note)} characters; {NOTE_LENGTH} is the most.", "note")]
