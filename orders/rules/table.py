"""All rules, one a row: its number, what it does, when it is asked, what it demands, and who finds where it is broken.

A rule with two limits has two rows. Rules without a number are of the house.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from orders.findings import Finding, Moment, Severity
from orders.rules import design, floor, implant, material, order, patient, reading
from orders.rules.look import Look, Spot, each

S, At = Severity, Moment
Subject = Look | reading.Reading | design.Design | floor.Routed | floor.Nested


@dataclass(frozen=True)
class Rule:
    """One row. `find` looks at an `about`: an order, a reading of the implant, a design, a route, a disc."""

    id: str
    severity: Severity
    moment: Moment
    what: str
    find: Callable[[Any], Iterator[Spot]]
    about: type = Look


RULES: tuple[Rule, ...] = (
    Rule("V01", S.REFUSE, At.ORDER, "No glass-ceramic directly on the implant", each(material.glass_on_implant)),
    Rule("V02", S.REFUSE, At.FLOOR, "No material in a wrong furnace", floor.wrong_furnace, floor.Routed),
    Rule("V03", S.REFUSE, At.FLOOR, "Every ceramic in its furnace", floor.no_furnace, floor.Routed),
    Rule("V04", S.REFUSE, At.ORDER, "Only materials that are possible", each(material.impossible)),
    Rule("V04", S.WARN, At.ORDER, "A material that is unusual", each(material.unusual)),
    Rule("V05", S.REFUSE, At.RELEASE, "System, connection and platform are known", each(implant.implant_unknown)),
    Rule("V06", S.REFUSE, At.ORDER, "One platform for implant and scan body", each(implant.platforms_differ)),
    Rule("V06", S.REFUSE, At.CONFIRM, "Two people read the same implant", reading.differs, reading.Reading),
    Rule("V07", S.REFUSE, At.DESIGN, "A design within material and blank", design.outside, design.Design),
    Rule("V08", S.OVERRIDE, At.ORDER, "A chimney that is too short", each(implant.chimney_too_short)),
    Rule("V08", S.WARN, At.ORDER, "A chimney that is short", each(implant.chimney_short)),
    Rule("V09", S.OVERRIDE, At.ORDER, "A cemented margin that is too deep", each(implant.margin_too_deep)),
    Rule("V09", S.WARN, At.ORDER, "A cemented margin that is deep", each(implant.margin_deep)),
    Rule("V10", S.WARN, At.ORDER, "A single piece engages, a splinted one does not", each(implant.turns)),
    Rule("V11", S.REFUSE, At.ORDER, "A channel beyond every part", each(implant.angle_too_steep)),
    Rule("V11", S.WARN, At.ORDER, "A steep channel", each(implant.angle_steep)),
    Rule("V12", S.WARN, At.ORDER, "A brittle crown on a molar or under a grinding jaw", each(material.breaks)),
    Rule("V13", S.WARN, At.ORDER, "A low piece, or a long lever", each(implant.proportions)),
    Rule("V14", S.WARN, At.ORDER, "A final too early, or after a provisional that is worn out", order.out_of_time),
    Rule("V15", S.WARN, At.ORDER, "Nothing dark under a translucent crown", each(material.shines_through)),
    Rule("V16", S.HOLD, At.SIGN, "No second order for the same tooth", order.duplicated),
    Rule("V17", S.REFUSE, At.ORDER, "No metal that the patient does not bear", each(patient.metal)),
    Rule("V17", S.WARN, At.ORDER, "An allergy to the screw, or not asked for", patient.not_borne_or_not_known),
    Rule("V18", S.REFUSE, At.ORDER, "A scan that is to come", order.scan_to_come),
    Rule("V18", S.HOLD, At.ORDER, "A scan that is too old for a final", order.scan_too_old),
    Rule("V18", S.WARN, At.ORDER, "A scan that is old for a final", order.scan_old),
    Rule("V19", S.REFUSE, At.FLOOR, "A disc that is thick enough and of its shade", floor.disc_fits, floor.Nested),
    Rule("V20", S.WARN, At.ORDER, "A shade that every lot and guide has", each(material.shade_is_a_shade)),
    Rule("material", S.REFUSE, At.ORDER, "A way of making it here", each(material.way_of_making)),
    Rule("layered", S.REFUSE, At.ORDER, "Layers only on a final crown", each(material.layering)),
    Rule("retention", S.REFUSE, At.ORDER, "Held as its kind is held", each(implant.retention_fits)),
    Rule("angle", S.REFUSE, At.ORDER, "An angle only of an angulated channel", each(implant.angle_of_channel)),
    Rule("base", S.REFUSE, At.ORDER, "A one-piece crown and a provisional on a base", each(implant.on_a_base)),
    Rule("kind", S.REFUSE, At.ORDER, "Pieces of one tooth that go together", order.clashes),
    Rule("allergens", S.REFUSE, At.ORDER, "Allergens only with an allergy", patient.allergens_without_allergy),
    Rule("tooth", S.WARN, At.ORDER, "A tooth that is rarely restored", each(order.rare_tooth)),
)


def hits(moment: Moment, subject: Subject) -> list[Finding]:
    """What the rules of that moment find in it, in the order of the table."""
    asked = [rule for rule in RULES if rule.moment == moment and isinstance(subject, rule.about)]
    found = [(rule, spot) for rule in asked for spot in rule.find(subject)]
    return [Finding(rule.id, rule.severity, spot.field, spot.why, spot.line) for rule, spot in found]
