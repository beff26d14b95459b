"""Rules of the floor: what goes into which furnace, and out of which disc a piece can be milled."""

from collections.abc import Iterator
from dataclasses import dataclass

from orders.materials import Firing, Material, firing
from orders.models.columns import millimetres
from orders.rules.look import Spot

# What a disc must have beyond the piece, in hundredths of a millimetre: holders below and above it.
CLEARANCE = 250
FURNACES: dict[str, str] = {Firing.SINTER: "sintering furnace", Firing.CRYSTALLISE: "crystallisation oven"}


@dataclass(frozen=True)
class Routed:
    """A material on a route that leads through these furnaces."""

    material: str
    furnaces: frozenset[str]


@dataclass(frozen=True)
class Nested:
    """A piece in a disc: lengths in hundredths of a millimetre, `factor` by which it is milled larger than it sinters.

    `stained` is the route that gives a disc of another shade the one that was ordered.
    """

    height: int
    thickness: int
    factor: float = 1.0
    shade: str = ""
    disc_shade: str = ""
    stained: bool = False


def wrong_furnace(routed: Routed) -> Iterator[Spot]:
    """Metals, polymers and resins must never see a furnace, nor a ceramic another one than its own."""
    needed = firing(routed.material)
    for furnace in sorted(routed.furnaces & FURNACES.keys() - {needed}):
        name = Material(routed.material).label
        yield Spot("material", f"{name} must not go into a {FURNACES[furnace]}.")


def no_furnace(routed: Routed) -> Iterator[Spot]:
    """Zirconia must be sintered, lithium disilicate crystallised."""
    needed = firing(routed.material)
    if needed != Firing.NONE and needed not in routed.furnaces:
        name = Material(routed.material).label
        yield Spot("material", f"{name} needs a step at a {FURNACES[needed]}, and the route has none.")


def disc_fits(nested: Nested) -> Iterator[Spot]:
    """The disc is thick enough, and of the shade that was ordered."""
    least = nested.height * nested.factor + CLEARANCE
    if nested.thickness < least:
        has, needs = millimetres(nested.thickness), f"{least / 100:.2f} mm"
        yield Spot("thickness", f"The disc is {has} thick; the piece needs {needs}. Take a thicker disc.")
    if nested.shade != nested.disc_shade and not nested.stained:
        why = f"The disc has the shade “{nested.disc_shade}”, ordered is “{nested.shade}”. Take that disc, or stain it."
        yield Spot("shade", why)
