"""The rules of the trade for what is ordered, one function each: an item in, what is wrong with it out."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from labqueue.base.errors import Fault
from orders import teeth
from orders.fields import column_label
from orders.makes import made_here
from orders.materials import Kind, Material, Retention, Stage, lower_first, verdict
from orders.models import Item
from orders.models.columns import LENGTHS_MM, NUMBERS

# What may hold a piece of each kind; the first is the usual one.
RETENTIONS = {
    Kind.ABUTMENT: (Retention.SCREW,),
    Kind.CROWN: (Retention.CEMENT,),
    Kind.SCREW_CROWN: (Retention.SCREW, Retention.ANGLED_SCREW),
}
# In hundredths of a millimetre: no implant has a narrower or a wider platform.
PLATFORMS = range(200, 801)
LENGTHS = {
    "shade": 20,
    "system": 40,
    "catalogue": 40,
    "lot": 40,
    "scan_body": 40,
    "shade_guide": 40,
    "shade_cervical": 20,
    "shade_incisal": 20,
    "stump_shade": 20,
    "characterisation": 120,
}


class Wrong(NamedTuple):
    """A field of an item, and the sentence that says what would satisfy it."""

    field: str
    why: str


Rule = Callable[[Item], Iterator[Wrong]]


def material_fits(item: Item) -> Iterator[Wrong]:
    """The material is possible for this piece at this tooth."""
    if item.tooth and not (item.layered and item.kind != Kind.CROWN):
        found = verdict(item.stage, item.kind, item.material, item.tooth, item.layered)
        if found.level == "reject":
            yield Wrong("material", found.why)


def way_of_making(item: Item) -> Iterator[Wrong]:
    """The laboratory has a route for it, with the furnace that the material needs."""
    if not made_here(item.kind, item.material, item.layered):
        piece = f"{'layered ' if item.layered else ''}{lower_first(Kind(item.kind).label)}"
        material = lower_first(Material(item.material).label)
        other = "a zirconia frame" if item.layered else "another material"
        yield Wrong("material", f"This laboratory makes no {piece} of {material}. Choose {other}.")


def layering(item: Item) -> Iterator[Wrong]:
    """Only a final crown on an abutment is layered."""
    if item.layered and (item.kind != Kind.CROWN or item.stage != Stage.FINAL):
        yield Wrong("layered", "Only a final crown on an abutment can be layered. Leave layering out here.")


def retention_fits(item: Item) -> Iterator[Wrong]:
    """How the piece is held goes with what it is."""
    possible = RETENTIONS[Kind(item.kind)]
    if item.retention not in possible:
        piece, words = lower_first(Kind(item.kind).label), " or ".join(lower_first(one.label) for one in possible)
        hint = " For a screw-retained crown order a one-piece crown." if item.kind == Kind.CROWN else ""
        yield Wrong("retention", f"This piece, {piece}, is {words}.{hint}")


def implant_is_known(item: Item) -> Iterator[Wrong]:
    """A piece that meets the implant needs the implant's label: system, connection, platform."""
    if item.kind == Kind.CROWN:
        return
    if not item.system:
        yield Wrong("system", "Give the implant system as it stands on the label of the implant.")
    if not item.connection:
        yield Wrong("connection", "Choose the connection of the implant.")
    if item.platform is None:
        yield Wrong(
            "platform", "Give the diameter of the platform in millimetres, as on the label of the implant, such as 4.3."
        )


def platform_is_one(item: Item) -> Iterator[Wrong]:
    """A platform has a size that exists."""
    if item.platform is not None and item.platform not in PLATFORMS:
        least, most = PLATFORMS[0] / 100, PLATFORMS[-1] / 100
        yield Wrong("platform", f"A platform has from {least:g} to {most:g} mm, to the hundredth, such as 4.3.")


def shade_is_given(item: Item) -> Iterator[Wrong]:
    """A crown needs a shade."""
    if item.kind != Kind.ABUTMENT and not item.shade:
        yield Wrong("shade", "Give the shade of the crown, as on your shade guide.")


def texts_fit(item: Item) -> Iterator[Wrong]:
    """Texts have an end."""
    for field, most in LENGTHS.items():
        if len(getattr(item, field)) > most:
            yield Wrong(
                field,
                f"The {column_label(field)} has more than {most} characters. Shorten it; the rest goes into the note.",
            )


def numbers_fit(item: Item) -> Iterator[Wrong]:
    """Lengths and angles are such as there are."""
    for field, (least, most) in LENGTHS_MM.items():
        value = getattr(item, field)
        if field != "platform" and value is not None and not least <= value <= most:
            limits = f"from {least / 100:g} to {most / 100:g} mm, to the hundredth"
            yield Wrong(field, f"Give the {column_label(field)} {limits}, or leave it out.")
    least, most = NUMBERS["angle"]
    if item.angle is not None and not least <= item.angle <= most:
        yield Wrong("angle", f"Give the angle of the screw channel from {least} to {most} degrees, or leave it out.")


RULES: tuple[Rule, ...] = (
    *(material_fits, way_of_making, layering, retention_fits),
    *(implant_is_known, platform_is_one, shade_is_given, texts_fit, numbers_fit),
)


def item_faults(item: Item) -> list[Wrong]:
    """What is wrong with one piece by itself."""
    return [found for rule in RULES for found in rule(item)]


def piece_faults(pieces: Sequence[Item]) -> list[Fault]:
    """Everything that is wrong with these pieces, each fault with its path (`items.0.tooth`)."""
    wrong = [(index, found) for index, item in enumerate(pieces) for found in item_faults(item)]
    return [fault_at(index, found) for index, found in wrong + whole_faults(pieces)]


def fault_at(index: int, found: Wrong) -> Fault:
    """The fault of the piece at that place of the order."""
    return Fault(found.field, found.why, f"items.{index}.{found.field}")


def whole_faults(pieces: Sequence[Item]) -> list[tuple[int, Wrong]]:
    """What is wrong between pieces on one tooth, with the index of the later piece."""
    faults: list[tuple[int, Wrong]] = []
    there: dict[int, list[str]] = defaultdict(list)
    for index, item in enumerate(pieces):
        if why := clash(item.kind, there[item.tooth]) if item.tooth else "":
            faults.append((index, Wrong("kind", f"Tooth {teeth.words(item.tooth)}: {why}")))
        there[item.tooth].append(item.kind)
    return faults


def clash(kind: str, there: Sequence[str]) -> str:
    """Why a piece of this kind cannot be added to those on its tooth; empty where it can."""
    if kind in there:
        return "this piece is ordered twice. Take one out."
    if there and Kind.SCREW_CROWN in (kind, *there):
        return "a one-piece crown is abutment and crown in one. Order it alone, or an abutment with its crown."
    return ""
