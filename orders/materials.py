"""What items are made of, how a material is fired, and which material is allowed for which item."""

from dataclasses import dataclass
from enum import StrEnum

from django.db import models

from orders.teeth import is_anterior, is_molar


class Stage(models.TextChoices):
    """A provisional shapes the tissue; the final replaces it."""

    PROVISIONAL = "provisional", "Provisional"
    FINAL = "final", "Final"


class Kind(models.TextChoices):
    """The pieces that are ordered."""

    ABUTMENT = "abutment", "Abutment"
    CROWN = "crown", "Crown on an abutment"
    SCREW_CROWN = "screw_crown", "One-piece crown on a titanium base"


class Material(models.TextChoices):
    """Material classes; the product and its lot are recorded when a piece is made."""

    PMMA = "pmma", "PMMA"
    COMPOSITE = "composite", "Milled composite"
    PEEK = "peek", "PEEK"
    TITANIUM = "titanium", "Titanium alloy"
    COBALT_CHROME = "cobalt_chrome", "Cobalt-chrome"
    ZIRCONIA_3Y = "zirconia_3y", "Zirconia 3Y"
    ZIRCONIA_4Y = "zirconia_4y", "Zirconia 4Y"
    ZIRCONIA_5Y = "zirconia_5y", "Zirconia 5Y"
    LITHIUM_DISILICATE = "lithium_disilicate", "Lithium disilicate"
    HYBRID_CERAMIC = "hybrid_ceramic", "Hybrid ceramic"
    FELDSPAR = "feldspar", "Feldspar or leucite ceramic"


class Connection(models.TextChoices):
    """How the piece meets the implant."""

    INTERNAL_HEX = "internal_hex", "Internal hex"
    EXTERNAL_HEX = "external_hex", "External hex"
    CONICAL = "conical", "Conical with index"
    MORSE = "morse", "Morse taper"
    TRI_CHANNEL = "tri_channel", "Tri-channel"
    OCTAGON = "octagon", "Internal octagon, tissue level"
    MULTI_UNIT = "multi_unit", "Multi-unit abutment level"


class Retention(models.TextChoices):
    """How the piece is held."""

    SCREW = "screw", "Screw-retained"
    CEMENT = "cement", "Cement-retained"
    ANGLED_SCREW = "angled_screw", "Angulated screw channel"


# What may hold a piece of each kind; the first is the usual one.
RETENTIONS = {
    Kind.ABUTMENT: (Retention.SCREW,),
    Kind.CROWN: (Retention.CEMENT,),
    Kind.SCREW_CROWN: (Retention.SCREW, Retention.ANGLED_SCREW),
}


class Firing(StrEnum):
    """The furnace a material needs. A metal, a polymer or a resin must never see one."""

    NONE = "none"
    SINTER = "sintering"
    CRYSTALLISE = "crystallisation"


ZIRCONIA = frozenset({Material.ZIRCONIA_3Y, Material.ZIRCONIA_4Y, Material.ZIRCONIA_5Y})


def firing(material: str) -> Firing:
    """The firing route of a material."""
    if material in ZIRCONIA:
        return Firing.SINTER
    return Firing.CRYSTALLISE if material == Material.LITHIUM_DISILICATE else Firing.NONE


@dataclass(frozen=True)
class Verdict:
    """Whether a material is allowed: `ok`, `warn` (with what to weigh) or `reject`."""

    level: str
    why: str = ""


# One row per kind of piece; the letters stand for the materials in their order above: o allowed, w allowed with a
# warning, a the same on anterior teeth only, x refused, - made another way. A final abutment meets the implant in one
# piece or as a sleeve on a base.
MATRIX = {
    ("provisional", "abutment", "any"): "ooowxwwxxwx",
    ("provisional", "crown", "any"): "oowxxwwwxwx",
    ("provisional", "screw_crown", "any"): "oowxxwwwxwx",
    ("final", "abutment", "one_piece"): "xxxowaxxxxx",
    ("final", "abutment", "titanium_base"): "xxw-wowxawx",
    ("final", "crown", "anterior"): "xwxxwwoooww",
    ("final", "crown", "premolar"): "xwxxwoowowx",
    ("final", "crown", "molar"): "xxxxwoowwwx",
    ("final", "screw_crown", "anterior"): "xxxxwoowowx",
    ("final", "screw_crown", "premolar"): "xxxxwoowwwx",
    ("final", "screw_crown", "molar"): "xxxxwoowwwx",
    ("layered", "crown", "anterior"): "xxxxwoowoxx",
    ("layered", "crown", "posterior"): "xxxxwwwxwxx",
}
LEVELS = {"o": "ok", "w": "warn", "x": "reject", "-": "reject"}
# What the pieces of some rows are called, and what is possible beside them.
CALLED = {"one_piece": "final one-piece abutment", "titanium_base": "final abutment on a titanium base"}
BESIDE = {"one_piece": "; Zirconia 3Y on a titanium base", "titanium_base": "; Titanium alloy in one piece"}


def verdict(
    stage: str, kind: str, material: str, tooth: int, layered: bool = False, base: str = "titanium_base"
) -> Verdict:
    """What the trade says of this material for this piece at this tooth; `base` is that on which an abutment sits."""
    key = matrix_row(stage, kind, tooth, layered, base)
    row = MATRIX[key].replace("a", "w" if is_anterior(tooth) else "x")
    name, letter = Material(material).label, row[list(Material).index(Material(material))]
    piece = f"{'layered' if layered else Stage(stage).label.lower()} {lower_first(Kind(kind).label)}"
    piece = CALLED.get(key[2], piece)
    usual = ", ".join(one.label for one, cell in zip(Material, row, strict=True) if cell == "o")
    if letter == "-":
        return Verdict("reject", f"{name} is not made as a sleeve on a titanium base. Order it in one piece.")
    if letter == "x":
        return Verdict("reject", f"{name} is not possible for a {piece}. Possible: {usual}{BESIDE.get(key[2], '')}.")
    instead = f" Usual: {usual}." if usual else ""
    return Verdict(LEVELS[letter], f"{name} is unusual for a {piece} here.{instead}" if letter == "w" else "")


def lower_first(label: str) -> str:
    """A label inside a sentence: `Crown on an abutment` as `crown on an abutment`, `PMMA` as it is."""
    return label if label[1:2].isupper() else label[:1].lower() + label[1:]


def matrix_row(stage: str, kind: str, tooth: int, layered: bool, base: str) -> tuple[str, str, str]:
    """The row of the matrix that speaks of this piece."""
    region = "anterior" if is_anterior(tooth) else "molar" if is_molar(tooth) else "premolar"
    if layered:
        return ("layered", "crown", "anterior" if is_anterior(tooth) else "posterior")
    if (stage, kind) == (Stage.FINAL, Kind.ABUTMENT):
        return (stage, kind, base)
    return (stage, kind, "any") if (stage, kind, "any") in MATRIX else (stage, kind, region)
