"""Rules of a design: no wall thinner than its material allows, nothing beyond what a blank allows."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from orders.materials import Material
from orders.rules.look import Spot

M, D = Material, Decimal
# The thinnest wall of each material, in millimetres.
WALLS = {
    M.PMMA: D("1.0"),
    M.COMPOSITE: D("1.0"),
    M.PEEK: D("1.0"),
    M.TITANIUM: D("0.45"),
    M.COBALT_CHROME: D("0.45"),
    M.ZIRCONIA_3Y: D("0.5"),
    M.ZIRCONIA_4Y: D("0.8"),
    M.ZIRCONIA_5Y: D("1.0"),
    M.LITHIUM_DISILICATE: D("1.0"),
    M.HYBRID_CERAMIC: D("1.0"),
    M.FELDSPAR: D("1.5"),
}
# What the blanks allow: the least and the most, in millimetres; the angle in degrees. None is no limit.
BLANK: dict[str, tuple[Decimal | None, Decimal | None]] = {
    "wall": (D("0.45"), None),
    "angle": (None, D(25)),
    "collar": (D("0.5"), D("6.0")),
    "post": (D("4.0"), None),
}
UNITS = {"angle": "°"}


@dataclass(frozen=True)
class Design:
    """What was measured in the design of a piece: wall, collar and post in millimetres, angle in degrees."""

    material: str
    figures: Mapping[str, Decimal]


def outside(design: Design) -> Iterator[Spot]:
    """Every figure lies within what material and blank allow. A figure that was not measured is not asked for."""
    limits = {**BLANK, "wall": (WALLS[M(design.material)], None)}
    for name, value in design.figures.items():
        (least, most), unit = limits.get(name, (None, None)), UNITS.get(name, " mm")
        if least is not None and not (value.is_finite() and value >= least):
            yield Spot(name, f"The {name} has {value:f}{unit}; {least}{unit} is the least here. Change the design.")
        elif most is not None and not (value.is_finite() and value <= most):
            yield Spot(name, f"The {name} has {value:f}{unit}; {most}{unit} is the most here. Change the design.")
