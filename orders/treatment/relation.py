"""What a case is to an earlier one: said whole or not at all, and only where it can be true."""

from collections.abc import Iterable

from labqueue.base.errors import Fault
from orders.checks import known_faults
from orders.choices import Cause, Relation
from orders.facts import OrderFacts
from orders.materials import Stage
from orders.models import Case, Item, Practice

S = Case.State
CAUSE_LENGTH = 200
# What an earlier case must have become, before something may follow it.
AFTER = {
    Relation.FINAL: frozenset({S.PACKED, S.SHIPPED}),
    Relation.REMAKE: frozenset({S.SHIPPED}),
    Relation.ADJUSTMENT: frozenset({S.SHIPPED}),
}


def faults(order: OrderFacts, origin: Case | None, pieces: Iterable[Item], case: Case | None = None) -> list[Fault]:
    """Everything that is wrong with what an order says of an earlier case, `origin` where the practice has it.

    `case` is the one that the order is already.
    """
    found = known_faults(order, {"relation": Relation, "cause": Cause}) + said_whole(order)
    if not order.origin:
        return found
    if origin is None:
        return [*found, Fault("origin", f"You have no case {order.origin[:12]} to follow.", "origin")]
    if order.relation in AFTER:
        found += stage_faults(order, origin) or ([] if case else state_faults(order, origin))
    return found + same_mouth(order, origin, pieces)


def origin_of(order: OrderFacts, practice: Practice) -> Case | None:
    """The earlier case, where the practice has it."""
    return Case.objects.filter(practice=practice, number=order.origin).first() if order.origin else None


def said_whole(order: OrderFacts) -> list[Fault]:
    """Origin and relation belong together; a remake has a cause, an adjustment a wish."""
    found = []
    if len(order.cause_note) > CAUSE_LENGTH:
        why = f"The note on the cause has at most {CAUSE_LENGTH} characters."
        found.append(Fault("cause_note", why, "cause_note"))
    if bool(order.origin) != bool(order.relation):
        field = "relation" if order.origin else "origin"
        why = "Say which earlier case it follows and as what (final, remake or adjustment), or neither of both."
        found.append(Fault(field, why, field))
    if order.relation == Relation.REMAKE and not order.cause:
        found.append(Fault("cause", "Say why it is made again.", "cause"))
    if order.relation == Relation.ADJUSTMENT and not order.cause_note.strip():
        found.append(Fault("cause_note", "Say what is to be adjusted after the try-in.", "cause_note"))
    return found


def stage_faults(order: OrderFacts, origin: Case) -> list[Fault]:
    """A final follows a provisional; what is made again or adjusted stays what it was."""
    if order.relation == Relation.FINAL:
        if (order.stage, origin.stage) == (Stage.FINAL, Stage.PROVISIONAL):
            return []
        return [Fault("relation", f"A final follows a provisional; {origin} is a {origin.stage}.", "relation")]
    if order.stage == origin.stage:
        return []
    what = Relation(order.relation).label
    return [Fault("stage", f"{what}: {origin} is a {origin.stage}, and stays one. Order its final instead.", "stage")]


def state_faults(order: OrderFacts, origin: Case) -> list[Fault]:
    """A final follows what was made; a remake and an adjustment follow what left the laboratory."""
    if origin.state in AFTER[Relation(order.relation)]:
        return []
    until = "packed" if order.relation == Relation.FINAL else "shipped"
    what = Relation(order.relation).label.lower()
    why = f"{origin} is {origin.get_state_display().lower()}. A {what} can be ordered once it is {until}."
    return [Fault("origin", why, "origin")]


def same_mouth(order: OrderFacts, origin: Case, pieces: Iterable[Item]) -> list[Fault]:
    """What follows a case is for its patient, on one of its teeth."""
    if order.patient_ref != origin.patient_ref:
        why = f"{origin} is for patient {origin.patient_ref}. What follows it is for the same patient."
        return [Fault("patient_ref", why, "patient_ref")]
    teeth = {item.tooth for item in pieces if item.tooth}
    there = set(origin.current.items.values_list("tooth", flat=True)) if origin.current else set()
    if teeth and there and not teeth & there:
        return [Fault("origin", f"{origin} has no piece on these teeth. Order them by themselves.", "origin")]
    return []
