"""Rules of the material: what a piece can be made of, at which tooth, over what, in which shade."""

import re
from collections.abc import Iterator

from orders import teeth
from orders.choices import Answer, Base, Stump
from orders.limits import Wrong
from orders.makes import METALS, made_here
from orders.materials import Kind, Material, Stage, Verdict, lower_first, verdict
from orders.models import Item
from orders.rules.look import Look

M = Material
GLASS = frozenset({M.LITHIUM_DISILICATE, M.FELDSPAR})
# Through these it shines from below; under a grinding jaw these and what is layered break first.
TRANSLUCENT = frozenset({M.ZIRCONIA_5Y, M.LITHIUM_DISILICATE})
BRITTLE = TRANSLUCENT | {M.HYBRID_CERAMIC}
# A shade that only points at something, and one that is lighter than the usual guides.
POINTS = re.compile(r"\bmatch|\bneighbou?r|\badjacent|\bsame as\b|\bas (the )?(next|other)\b", re.IGNORECASE)
BLEACHED = re.compile(r"\bbl ?\d|\bbleach", re.IGNORECASE)


def glass_on_implant(item: Item, look: Look) -> Iterator[Wrong]:
    """Glass-ceramic sits on a titanium base, never directly on the implant."""
    if item.kind == Kind.ABUTMENT and item.made_on == Base.ONE_PIECE and item.material in GLASS:
        name = M(item.material).label
        yield Wrong("base", f"{name} breaks where it sits directly on the implant. Order it on a titanium base.")


def judged(item: Item) -> Verdict | None:
    """What the validity table says; nothing of what cannot be layered at all."""
    if item.layered and (item.kind != Kind.CROWN or item.stage != Stage.FINAL):
        return None
    return verdict(item.stage, item.kind, item.material, item.tooth, item.layered, item.made_on)


def impossible(item: Item, look: Look) -> Iterator[Wrong]:
    """The material is possible for this piece at this tooth."""
    found = judged(item)
    if found and found.level == "reject":
        yield Wrong("material", found.why)


def unusual(item: Item, look: Look) -> Iterator[Wrong]:
    """The material is the usual one for this piece at this tooth."""
    found = judged(item)
    if found and found.level == "warn":
        yield Wrong("material", found.why)


def way_of_making(item: Item, look: Look) -> Iterator[Wrong]:
    """The laboratory has a route for it, with the furnace that the material needs."""
    if not made_here(item.kind, item.material, item.layered):
        piece = f"{'layered ' if item.layered else ''}{lower_first(Kind(item.kind).label)}"
        material = lower_first(M(item.material).label)
        other = "a zirconia frame" if item.layered else "another material"
        yield Wrong("material", f"This laboratory makes no {piece} of {material}. Choose {other}.")


def layering(item: Item, look: Look) -> Iterator[Wrong]:
    """Only a final crown on an abutment is layered."""
    if item.layered and (item.kind != Kind.CROWN or item.stage != Stage.FINAL):
        yield Wrong("layered", "Only a final crown on an abutment can be layered. Leave layering out here.")


def breaks(item: Item, look: Look) -> Iterator[Wrong]:
    """Strong enough for a molar, and for a patient who grinds."""
    if item.kind == Kind.ABUTMENT:
        return
    on_molar = teeth.is_molar(item.tooth) and item.material in TRANSLUCENT
    ground = look.prescription.bruxism == Answer.YES and (item.layered or item.material in BRITTLE)
    if on_molar or ground:
        what = "A layered crown" if item.layered else M(item.material).label
        where = " and ".join([*(["on a molar"] if on_molar else []), *(["where the patient grinds"] if ground else [])])
        yield Wrong("material", f"{what} may break {where}. Zirconia 3Y or 4Y without layers is stronger.")


def shines_through(item: Item, look: Look) -> Iterator[Wrong]:
    """Nothing dark under a translucent crown where it is seen."""
    if item.kind == Kind.ABUTMENT or teeth.is_molar(item.tooth) or item.material not in TRANSLUCENT:
        return
    below = [one for one in look.on(item.tooth, Kind.ABUTMENT) if one.material in METALS]
    if below or item.stump in (Stump.DARK, Stump.METAL):
        why = "a metal abutment" if below else "a metal stump" if item.stump == Stump.METAL else "a dark stump"
        name = M(item.material).label
        yield Wrong(
            "material", f"{name} lets {why} shine through. A zirconia abutment or a more opaque crown hides it."
        )


def shade_is_a_shade(item: Item, look: Look) -> Iterator[Wrong]:
    """A shade of a guide, and one that every lot has."""
    if item.kind == Kind.ABUTMENT:
        return
    if POINTS.search(item.shade):
        yield Wrong("shade", f"“{item.shade}” is no shade of a guide. Give the nearest shade of your guide.")
    elif BLEACHED.search(item.shade):
        yield Wrong("shade", f"“{item.shade}” is a bleached shade, which not every lot has. Name a second choice.")
