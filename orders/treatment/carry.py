"""An order that begins with what an earlier case says: its final, a remake, an adjustment, or the same once more."""

from dataclasses import replace

from labqueue.base.errors import Conflict, refuse
from labqueue.base.templatetags.house import day
from orders.choices import Emergence, Relation
from orders.facts import ItemFacts, OrderFacts, order_facts
from orders.materials import Stage
from orders.models import Case, Evaluation
from orders.models.treatment import Verdict

# For another patient: an order of the same kind, linked to nobody.
LIKE = "like"
RELATIONS = (*Relation.values, LIKE)
NOTE_LENGTH = 500


def facts_from(case: Case, relation: str) -> OrderFacts:
    """What a new order that follows `case` begins with; `relation` is one of `RELATIONS`.

    What is true of one parcel or one day only (appointment, minutes in the disinfectant, what is enclosed, a rush) is
    said anew; for a final, so is the date of the scan. Raises Refusal for another word, Conflict where nothing was ever
    signed.
    """
    if relation not in RELATIONS:
        raise refuse("relation", f"Possible is {', '.join(RELATIONS)}.", field="relation")
    if case.current is None:
        raise refuse("origin", f"{case} was never signed; there is nothing to take over.", "origin", Conflict)
    before = order_facts(case, case.current)
    fresh = replace(before, seat_at=None, enclosed=(), disinfected_minutes=None, rush=False, cause="", cause_note="")
    if relation == LIKE:
        return for_another(fresh)
    linked = replace(fresh, origin=case.number, relation=relation)
    return final_after(case, linked) if relation == Relation.FINAL else linked


def final_after(case: Case, order: OrderFacts) -> OrderFacts:
    """The final of a provisional: it copies the emergence profile, with the changes of the last evaluation.

    The materials are chosen anew; so is what the evaluation wants otherwise.
    """
    found = case.evaluations.last()
    return replace(
        order,
        stage=Stage.FINAL,
        seat_at=case.final_seat_at,
        scanned_on=None,
        note=wishes(found) if found else "",
        items=[final_piece(item, found) for item in order.items],
        reasons=(),
    )


def final_piece(item: ItemFacts, found: Evaluation | None) -> ItemFacts:
    """The same piece as a final; a shade that was to be changed is asked for."""
    shade = "" if found and found.shade == Verdict.CHANGE else item.shade
    return replace(item, material="", base="", layered=False, shade=shade, occlusion="", emergence=Emergence.COPY)


def wishes(found: Evaluation) -> str:
    """What an evaluation wants otherwise, as a note of at most 500 characters; empty where all is to stay."""
    wanted = f"To be changed: {', '.join(found.wanted)}." if found.wanted else ""
    parts = [facial_words(found), wanted, found.changes]
    text = " ".join(part for part in parts if part)
    return f"After the trial ({day(found.at)}): {text}"[:NOTE_LENGTH] if text else ""


def facial_words(found: Evaluation) -> str:
    """Where the facial margin was: `Facial margin too high by 0.5 mm.`; empty where it is as it should be."""
    if found.facial in ("", Evaluation.Facial.OK):
        return ""
    far = f" by {found.facial_in_mm}" if found.facial_mm else ""
    return f"Facial margin {found.get_facial_display().lower()}{far}."


def for_another(order: OrderFacts) -> OrderFacts:
    """The same kind of order, for another patient: without anything that is true of one patient only.

    The first tooth's pieces are taken; which tooth it is, is said anew.
    """
    first = order.items[0]
    pieces = [same_kind(item) for item in order.items if item.tooth == first.tooth]
    kept = ("stage", "impression", "analog", "opposing", "bite", "disinfected_with", "approval", "contact", "parts")
    said = {name: getattr(order, name) for name in (*kept, "delivery")}
    return OrderFacts(patient_ref="", items=pieces, **said)


def same_kind(item: ItemFacts) -> ItemFacts:
    """What a piece is made of and sits on, and nothing of the mouth that it was made for."""
    kept = ("kind", "notation", "material", "layered", "retention", "base", "system", "connection", "platform", "level")
    said = {name: getattr(item, name) for name in (*kept, "engaging", "contacts", "emergence", "scan_body")}
    return ItemFacts(tooth="", **said)
