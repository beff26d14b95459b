"""The versions of a prescription in words: all that one says, and what changed from one to the next."""

from collections.abc import Iterator
from typing import Any

from orders import seal, teeth, words
from orders.fields import column_label
from orders.materials import Kind, lower_first
from orders.models import Item, Practice, Prescription

# What can differ while it stays the same piece, the material first.
SHOWN = (
    *("material", "layered", "shade", "retention", "system", "connection", "platform"),
    *seal.WHERE_SAID,
)


# The kind, the material and the tooth of a piece stand above the rest.
PIECE = tuple(name for name in seal.ITEM_FIELDS if name not in ("line", "stage", "kind", "tooth", "material"))


def differences(old: Prescription, new: Prescription, practice: Practice) -> list[str]:
    """One sentence per difference; none where both ask for the same."""
    return [*order_differences(old, new, practice), *piece_differences(old, new, practice)]


def order_differences(old: Prescription, new: Prescription, practice: Practice) -> Iterator[str]:
    """Of what is said once: the appointment, the note, and what goes for all pieces."""
    if old.seat_at != new.seat_at:
        yield f"Seat appointment: {words.when(old.seat_at, practice)} → {words.when(new.seat_at, practice)}"
    if old.note != new.note:
        yield f"Note: {quoted(old.note)} → {quoted(new.note)}"
    for name in seal.ORDER_FIELDS:
        if getattr(old, name) != getattr(new, name):
            label = column_label(name).capitalize()
            yield f"{label}: {words.said(old, name) or 'none'} → {words.said(new, name) or 'none'}"


def piece_differences(old: Prescription, new: Prescription, practice: Practice) -> Iterator[str]:
    """Of the pieces: gone, changed, added."""
    before, after = by_piece(old), by_piece(new)
    for key, item in before.items():
        if key not in after:
            yield f"{place(item, practice)}: taken out"
            continue
        for label, was, now in changed(item, after[key]):
            yield f"{place(item, practice)}: {label} {was or 'none'} → {now or 'none'}"
    for key, item in after.items():
        if key not in before:
            yield f"{place(item, practice)}: added, in {lower_first(item.get_material_display())}"


def by_piece(prescription: Prescription) -> dict[tuple[int, str], Item]:
    """The pieces by what they are and where."""
    return {(item.tooth, item.kind): item for item in prescription.items.all()}


def changed(old: Item, new: Item) -> Iterator[tuple[str, str, str]]:
    """The fields of one piece that differ: name, before, after."""
    for (label, was), (_, now) in zip(shown_fields(old), shown_fields(new), strict=True):
        if was != now:
            yield label, was, now


def shown_fields(item: Item) -> list[tuple[str, str]]:
    """Everything of a piece that can differ while it stays the same piece, as people read it."""
    return [(column_label(name), words.said(item, name)) for name in SHOWN]


def place(item: Item, practice: Practice) -> str:
    """Which piece is meant: `8 Universal, upper right central incisor, abutment`."""
    return f"{teeth.shown(item.tooth, practice.notation)}, {lower_first(Kind(item.kind).label)}"


def quoted(text: str) -> str:
    """A text in quotation marks, or `none`."""
    return f"“{text}”" if text else "none"


def said(row: Prescription | Item, names: tuple[str, ...]) -> list[tuple[str, str]]:
    """What a row says in these columns, as label and words; what says nothing more than usual is left out."""
    told = [name for name in names if getattr(row, name) != seal.default(row, name)]
    return [(column_label(name).capitalize(), words.said(row, name)) for name in told]


def text_of(version: Prescription) -> list[dict[str, Any]]:
    """Every piece of a version with all that is said of it."""
    practice = version.case.practice
    return [
        {"tooth": words.tooth(item.tooth, practice), "piece": words.piece(item), "said": said(item, PIECE)}
        for item in version.items.all()
    ]
