"""What the absence of each field does: refused, held, left to the laboratory, or filled in as usual."""

from collections.abc import Iterator
from typing import Any

from orders.facts import ItemFacts, OrderFacts
from orders.fields import FIELDS, Effect, Field, Of, column_label, missing
from orders.findings import Finding, Severity
from orders.rules.look import Look

# What reading an order refuses by itself, with its own sentence.
READ = frozenset({"items", "material", "tooth"})
# What may be asked of whoever writes an order; the rest the service knows, or the signature brings.
ASKED = frozenset({Of.ORDER, Of.ITEM, Of.FILES})


def absent(look: Look) -> Iterator[Finding]:
    """One finding for each field that says nothing where it is asked."""
    for field in FIELDS:
        if field.effect in (Effect.AUTO, Effect.NONE) or READ & {*field.names}:
            continue
        if field.of in ASKED or field.names[0] in ("origin", "relation"):
            yield from found(field, look)


def found(field: Field, look: Look) -> Iterator[Finding]:
    """What one field does: of each piece that it concerns, or once."""
    if field.of == Of.ITEM:
        for index, item in look.sound:
            if field.concerns(look.order, item):
                names = unsaid(field, item, look.order.items[index])
                yield from finding(field, names, f"items.{index}.", item.line)
    elif field.concerns(look.order, None):
        yield from finding(field, unsaid(field, rows(field, look), look.order), "")


def rows(field: Field, look: Look) -> Any:
    """Where the columns of a field of the whole order are."""
    return {Of.ORDER: look.prescription, Of.FILES: look.files}.get(field.of, look.order)


def unsaid(field: Field, row: Any, facts: ItemFacts | OrderFacts) -> list[str]:
    """The columns that are missed; of what is usual, the one that decides."""
    if field.effect == Effect.DEFAULT:
        name = field.names[0]
        return [name] if getattr(facts, name) in ("", type(facts).__dataclass_fields__[name].default) else []
    names = [one for one in field.names if one not in row] if field.of == Of.FILES else missing(field.names, row)
    return [] if field.one_is_enough and len(names) < len(field.names) else names


def finding(field: Field, names: list[str], path: str, line: int = 0) -> Iterator[Finding]:
    """What is found where these columns are missed; where it is only some of several, they are named."""
    if names:
        some = "" if len(names) == len(field.names) else f" Missing: {', '.join(map(column_label, names))}."
        sentence = field.want if field.effect == Effect.DEFAULT else field.want + some
        at = "files" if field.of == Of.FILES else path + names[0]
        yield Finding(names[0], Severity(field.effect.value), at, sentence, line)
