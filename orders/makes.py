"""How a piece is made: the word that orders and floor share. Routes and the usual days in the laboratory hang on it."""

from django.db import models

from orders.materials import ZIRCONIA, Firing, Kind, Material, firing


class Make(models.TextChoices):
    """The ways of making that the laboratory has routes for."""

    RESIN_CROWN = "resin_crown", "Milled resin crown"
    RESIN_SCREW_CROWN = "resin_screw_crown", "Milled resin crown on a titanium base"
    RESIN_ABUTMENT = "resin_abutment", "Milled resin abutment"
    METAL_ABUTMENT = "metal_abutment", "Milled metal abutment"
    ZIRCONIA_ABUTMENT = "zirconia_abutment", "Zirconia abutment on a titanium base"
    ZIRCONIA_CROWN = "zirconia_crown", "Zirconia crown"
    ZIRCONIA_SCREW_CROWN = "zirconia_screw_crown", "Zirconia crown on a titanium base"
    GLASS_CROWN = "glass_crown", "Lithium disilicate crown"
    GLASS_SCREW_CROWN = "glass_screw_crown", "Lithium disilicate crown on a titanium base"
    METAL_CROWN = "metal_crown", "Milled metal crown"
    METAL_SCREW_CROWN = "metal_screw_crown", "Milled metal crown on a titanium base"
    LAYERED_CROWN = "layered_crown", "Layered crown"


# Usual working days in the laboratory; a case takes as long as its slowest piece.
LAB_DAYS = {
    Make.RESIN_CROWN: 3,
    Make.RESIN_SCREW_CROWN: 3,
    Make.RESIN_ABUTMENT: 4,
    Make.METAL_ABUTMENT: 6,
    Make.ZIRCONIA_ABUTMENT: 6,
    Make.ZIRCONIA_CROWN: 5,
    Make.ZIRCONIA_SCREW_CROWN: 5,
    Make.GLASS_CROWN: 5,
    Make.GLASS_SCREW_CROWN: 5,
    Make.METAL_CROWN: 5,
    Make.METAL_SCREW_CROWN: 5,
    Make.LAYERED_CROWN: 8,
}
# The same in a rush, which the laboratory must accept.
RUSH_DAYS = {
    **dict.fromkeys((Make.RESIN_CROWN, Make.RESIN_SCREW_CROWN), 1),
    Make.RESIN_ABUTMENT: 2,
    **dict.fromkeys((Make.METAL_ABUTMENT, Make.ZIRCONIA_ABUTMENT), 3),
    **dict.fromkeys((Make.ZIRCONIA_CROWN, Make.GLASS_CROWN, Make.METAL_CROWN), 3),
    **dict.fromkeys((Make.ZIRCONIA_SCREW_CROWN, Make.GLASS_SCREW_CROWN, Make.METAL_SCREW_CROWN), 2),
    Make.LAYERED_CROWN: 5,
}
SINTERED = frozenset({Make.ZIRCONIA_ABUTMENT, Make.ZIRCONIA_CROWN, Make.ZIRCONIA_SCREW_CROWN, Make.LAYERED_CROWN})
CRYSTALLISED = frozenset({Make.GLASS_CROWN, Make.GLASS_SCREW_CROWN})
METALS = frozenset({Material.TITANIUM, Material.COBALT_CHROME})


def make_of(kind: str, material: str, layered: bool = False) -> Make:
    """How a piece of this kind and material is made."""
    if layered:
        return Make.LAYERED_CROWN
    if kind == Kind.ABUTMENT:
        return _abutment(material)
    on_base = kind == Kind.SCREW_CROWN
    if material in METALS:
        return Make.METAL_SCREW_CROWN if on_base else Make.METAL_CROWN
    if material in ZIRCONIA:
        return Make.ZIRCONIA_SCREW_CROWN if on_base else Make.ZIRCONIA_CROWN
    if firing(material) == Firing.CRYSTALLISE:
        return Make.GLASS_SCREW_CROWN if on_base else Make.GLASS_CROWN
    return Make.RESIN_SCREW_CROWN if on_base else Make.RESIN_CROWN


def firing_of(make: Make) -> Firing:
    """The furnace that the route of this make leads through."""
    if make in SINTERED:
        return Firing.SINTER
    return Firing.CRYSTALLISE if make in CRYSTALLISED else Firing.NONE


def made_here(kind: str, material: str, layered: bool = False) -> bool:
    """Whether the laboratory has a way of making this: one whose furnace is the one that the material needs."""
    return firing_of(make_of(kind, material, layered)) == firing(material)


def _abutment(material: str) -> Make:
    if material in METALS:
        return Make.METAL_ABUTMENT
    return Make.ZIRCONIA_ABUTMENT if material in ZIRCONIA else Make.RESIN_ABUTMENT
