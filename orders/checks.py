"""Reading an order: all its faults at once, each with its field, or the pieces as rows that can be saved."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.db.models import TextChoices

from labqueue.base.errors import Fault, Refusal
from orders import teeth
from orders.choices import Allergen, Enclosed, Wanted, usual_base
from orders.facts import ITEM_COLUMNS, ORDER_COLUMNS, ItemFacts, OrderFacts
from orders.fields import column_label
from orders.limits import Wrong, fault_at, limits
from orders.materials import RETENTIONS, Connection, Kind, Material, Retention, Stage
from orders.models import Item, Practice, Prescription
from orders.models.columns import LENGTHS_MM, NUMBERS
from orders.models.prescription import WORDS_OF_ITEM, WORDS_OF_ORDER
from orders.patients import reference_faults

NOTE_LENGTH = 500
# As many as the slip in the box has room for on one page.
MOST_ITEMS = 8
# The words of a piece that may be left out.
MAY_BE_LEFT_OUT: dict[str, type[TextChoices]] = {"retention": Retention, "connection": Connection, **WORDS_OF_ITEM}
# Far below any length.
NO_LENGTH = -(10**6)
# The fields of an order that take several words, and its short texts.
SEVERAL: dict[str, type[TextChoices]] = {"allergens": Allergen, "enclosed": Enclosed}
TEXTS = {"disinfected_with": 60, "allergy_note": 60, "contact": 60}


def read_order(order: OrderFacts) -> tuple[list[Item], list[Fault]]:
    """The pieces in their order, not yet saved, and everything in the order that cannot be read."""
    faults = reference_faults(order.patient_ref) + stage_faults(order.stage) + note_faults(order.note)
    if not 1 <= len(order.items) <= MOST_ITEMS:
        why = f"Order at least one piece and at most {MOST_ITEMS}. Open another case for what is beyond."
        faults.append(Fault("items", why, "items"))
        return [], faults
    pieces, wrong = read_items(order.stage, order.items)
    return pieces, faults + wrong


def read_items(stage: str, given: Sequence[ItemFacts]) -> tuple[list[Item], list[Fault]]:
    """The pieces with all faults of each (`items.0.tooth`)."""
    read = [read_item(stage, facts) for facts in given]
    faults = [fault_at(index, found) for index, (_, wrong) in enumerate(read) for found in wrong]
    return [item for item, _ in read], faults


def read_item(stage: str, facts: ItemFacts) -> tuple[Item, list[Wrong]]:
    """One piece with what cannot be read of it; a tooth of 0 could not."""
    tooth, unread = read_tooth(facts)
    values = {name: tidy(getattr(facts, name)) for name in ITEM_COLUMNS}
    values |= {name: hundredths(values[name]) for name in LENGTHS_MM}
    item = Item(stage=stage, tooth=tooth, **values)
    item.retention = facts.retention or usual_retention(facts.kind)
    item.base = "" if facts.base == usual_base(facts.kind, facts.material) else facts.base
    return item, [*unread, *unknown_words(facts), *limits(item)]


def read_prescription(order: OrderFacts, practice: Practice) -> tuple[Prescription, list[Fault]]:
    """What is said once for all pieces, not yet saved, and everything that is wrong with it. Defaults are filled in."""
    values = {name: tidy(getattr(order, name)) for name in ORDER_COLUMNS if name not in ("note", *SEVERAL)}
    values |= {name: list(dict.fromkeys(getattr(order, name))) for name in SEVERAL}
    prescription = Prescription(note=order.note, **values)
    prescription.approval = order.approval or (Wanted.YES if practice.wants_approval else Wanted.NO)
    prescription.parts = order.parts or practice.parts
    faults = known_faults(order, WORDS_OF_ORDER) + several_faults(order) + text_faults(prescription)
    least, most = NUMBERS["disinfected_minutes"]
    if order.disinfected_minutes is not None and not least <= order.disinfected_minutes <= most:
        why = f"Give the minutes in the disinfectant, from {least} to {most}."
        faults.append(Fault("disinfected_minutes", why, "disinfected_minutes"))
    return prescription, faults


def tidy(value: Any) -> Any:
    """A text without needless spaces; anything else as it is."""
    return " ".join(value.split()) if isinstance(value, str) else value


def known_faults(order: OrderFacts, words: Mapping[str, type[TextChoices]]) -> list[Fault]:
    """Words of the order that are in none of its lists."""
    wrong = [found for name, list_ in words.items() for found in unknown(name, getattr(order, name), list_.values, "")]
    return [Fault(found.field, found.why, found.field) for found in wrong]


def several_faults(order: OrderFacts) -> list[Fault]:
    """Words in fields that take several."""
    wrong = [
        found
        for name, list_ in SEVERAL.items()
        for word in getattr(order, name)
        for found in unknown(name, word, list_.values)
    ]
    return [Fault(found.field, found.why, found.field) for found in wrong]


def text_faults(prescription: Prescription) -> list[Fault]:
    """Texts of the order have an end; the note has its own sentence."""
    faults = []
    for name, most in TEXTS.items():
        if len(getattr(prescription, name)) > most:
            why = f"What is said of {column_label(name)} has more than {most} characters. Shorten it."
            faults.append(Fault(name, why, name))
    return faults


def read_tooth(facts: ItemFacts) -> tuple[int, list[Wrong]]:
    """The FDI number; 0 with the fault where it cannot be read."""
    try:
        return teeth.read(facts.tooth, facts.notation), []
    except Refusal as refusal:
        return 0, [Wrong("tooth", fault.message) for fault in refusal.faults]


def usual_retention(kind: str) -> str:
    """What a practice need not say."""
    return RETENTIONS[Kind(kind)][0] if kind in Kind.values else ""


def hundredths(length: Decimal | None) -> int | None:
    """Millimetres in hundredths; NO_LENGTH, which no rule lets pass, where it is no such number."""
    if length is None:
        return None
    exact = length * 100 if length.is_finite() and abs(length) < 1000 else Decimal("0.5")
    return int(exact) if exact == exact.to_integral_value() else NO_LENGTH


def unknown_words(facts: ItemFacts | Item) -> Iterator[Wrong]:
    """Words that are not in the trade's lists. All but what it is and of what may be left out."""
    yield from unknown("kind", facts.kind, Kind.values)
    yield from unknown("material", facts.material, Material.values)
    for name, words in MAY_BE_LEFT_OUT.items():
        yield from unknown(name, getattr(facts, name), words.values, "")


def unknown(field: str, word: str, values: list[str], *also: str) -> Iterator[Wrong]:
    """The fault of a word that is neither among `values` nor `also` possible.

    Who chose nothing has the list before them. Only a program can send another word, and is told the values.
    """
    if word not in values and word not in also:
        possible = f"“{word[:40]}” is no {field} here. Possible: {', '.join(values)}."
        yield Wrong(field, possible if word else f"Choose the {field}.")


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
