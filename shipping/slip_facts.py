"""What the case slip says: the facts of a delivery, frozen as text when the box is closed."""

from labqueue.base import codes
from labqueue.production.models import Part
from orders import teeth
from orders.choices import Allergen, Allergy
from orders.materials import Kind, Stage
from orders.models import Case, Item
from shipping import wording
from shipping.contents import Content, contents, parts
from shipping.models import Delivery
from shipping.papers.cautions import cautions
from shipping.papers.slip import Piece, SlipFacts

STATEMENT = (
    "Custom-made device for the sole use of the patient with the code above. Made in the laboratory named above."
)


def slip_facts(delivery: Delivery, inside: list[Content] | None = None) -> SlipFacts:
    """Everything that the slip says, as text; `inside` where the contents of the box are known already."""
    case = delivery.case
    signed = case.current
    assert signed is not None, "only what was signed is packed"
    assert signed.signed_at is not None
    inside = contents(case) if inside is None else inside
    return {
        "case": case.number,
        "code": codes.with_check(f"{case.number}00"),
        "laboratory": wording.laboratory(),
        "practice": wording.house(case.practice),
        "patient": case.patient_ref,
        "prescriber": str(signed.signed_by),
        "licence": signed.licence_number,
        "prescription": f"Version {signed.version}, signed {wording.day(signed.signed_at)}",
        "stage": Stage(case.stage).label,
        "seat": wording.appointment(case.seat_at, case.practice),
        "packed": f"Packed {wording.day(delivery.packed_at)}",
        "pieces": [piece_facts(content, number, case.practice.notation) for number, content in enumerate(inside, 1)],
        "parts": enclosed(inside),
        "statement": STATEMENT,
        "cautions": box_cautions(case, inside),
    }


def piece_facts(content: Content, number: int, notation: str) -> Piece:
    """One row of the slip."""
    item = content.item
    first, second = wording.tooth(item.tooth, notation)
    layered = ", layered" if item.layered else ""
    return {
        "line": number,
        "tooth": first,
        "tooth_other": second,
        "words": teeth.words(item.tooth),
        "piece": f"{Kind(item.kind).label}{layered}, {item.get_retention_display().lower()}",
        "material": item.get_material_display(),
        "shade": item.shade,
        "implant": implant(item),
        "lots": [{"number": lot.number, "product": lot.product} for lot in content.own_lots],
    }


def implant(item: Item) -> str:
    """What the piece sits on: `Halden Conic, conical with index, 4.3 mm`."""
    if not item.system:
        return "on the abutment"
    return f"{item.system}, {item.get_connection_display().lower()}, {item.platform_mm}"


def enclosed(inside: list[Content]) -> list[str]:
    """The loose parts in the box: `2 x Clinical screw: Corvane Clinical Screw, lot CS-90415`."""
    loose = [(lot, count) for lot, count in parts(inside).items() if lot.what == Part.SCREW]
    return [f"{count} x {Part.SCREW.label}: {lot}" for lot, count in loose]


def box_cautions(case: Case, inside: list[Content]) -> list[str]:
    """The cautions that fit what is inside."""
    items = [content.item for content in inside]
    bases = any(lot.what == Part.TITANIUM_BASE for content in inside for lot in content.lots)
    materials = [item.material for item in items]
    retentions = {i.retention for i in items}
    return cautions(case.stage, {i.kind for i in items}, materials, retentions, bases, declared(case))


def declared(case: Case) -> str:
    """What the signed order says of allergies: `an allergy to nickel, cobalt`; empty where it says nothing."""
    signed = case.current
    if signed is None or not signed.allergy:
        return ""
    if signed.allergy != Allergy.YES:
        return "no allergy known" if signed.allergy == Allergy.NONE else "nobody asked for allergies"
    named = ", ".join(Allergen(one).label.lower() for one in signed.allergens)
    return f"an allergy to {', '.join(filter(None, (named, signed.allergy_note)))}"
