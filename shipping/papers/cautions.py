"""What the practice must know before it seats a piece. The laboratory's responsible person approves these words.

They are advice on handling, never on treatment; a torque is never given as a value.
"""

from collections.abc import Collection

from orders.materials import ZIRCONIA, Kind, Material, Retention, Stage

CONTENTS = {
    Material.PMMA: "polymethyl methacrylate",
    Material.COMPOSITE: "methacrylate composite with glass filler",
    Material.PEEK: "polyether ether ketone",
    Material.TITANIUM: "titanium, aluminium, vanadium",
    Material.COBALT_CHROME: "cobalt, chromium, molybdenum",
    Material.ZIRCONIA_3Y: "zirconium oxide with 3 mol% yttrium oxide",
    Material.ZIRCONIA_4Y: "zirconium oxide with 4 mol% yttrium oxide",
    Material.ZIRCONIA_5Y: "zirconium oxide with 5 mol% yttrium oxide",
    Material.LITHIUM_DISILICATE: "lithium disilicate glass-ceramic",
    Material.HYBRID_CERAMIC: "methacrylate resin with ceramic filler",
    Material.FELDSPAR: "feldspar glass-ceramic",
}
NO_HEAT = frozenset({Material.PMMA, Material.COMPOSITE, Material.HYBRID_CERAMIC, Material.PEEK})

STERILE = (
    "Supplied NOT STERILE. Before seating, clean and disinfect or sterilise as your own protocol and the component "
    "maker's instructions say, and check that the material stands the cycle."
)
HEAT = "Resins and bonded pieces: no high heat unless the maker states that they stand it."
ANGLED = (
    "Angulated screw channel: only with the screw that is made for it and the driver that fits this screw, as the "
    "component maker's instructions say."
)
TORQUE = (
    "Tighten to the torque that the component maker's instructions give for this part, and no further. Use the new "
    "screw enclosed, never the laboratory's screw."
)
SEATING = "Confirm complete seating before final tightening and cementation, by radiograph where clinically justified."
CEMENT = "Cement-retained: keep the margin within reach, remove all excess cement, and check again afterwards."
SYSTEM = "Compare implant system, connection and platform with your record before seating: the parts must match them."
AIRWAY = "Secure the airway: small parts can be swallowed or inhaled."
CONTAINS = "Contains {contents}. {declared}Compare with the patient's known allergies."
COBALT = "COBALT: the metal contains cobalt."
PROVISIONAL = (
    "PROVISIONAL: for a limited time of use until ____________________, not a final restoration. "
    "Review the tissue about 3 weeks after seating."
)
ZIRCONIA_CARE = "Adjust zirconia only with fine wet diamonds and polish it again. Do not grind the implant connection."
CONNECTION_CARE = "Do not grind the implant connection."
PRESCRIBED = (
    "Custom-made to the prescription of a licensed dentist for one patient; local rules apply. Keep this slip with the "
    "patient's record."
)
PROBLEMS = "Report a problem to the laboratory with the case number, and keep the part."


def cautions(
    stage: str,
    kinds: Collection[str],
    materials: Collection[str],
    retentions: Collection[str],
    bases: bool,
    declared: str = "",
) -> list[str]:
    """The cautions for one box, in order.

    `bases` says whether a piece is bonded to a titanium base, `declared` what the order says of allergies, if anything.
    """
    on_implant = bool({Kind.ABUTMENT, Kind.SCREW_CROWN} & set(kinds))
    said = f"Declared on the order: {declared}. " if declared else ""
    made_of = [*dict.fromkeys(materials), *([Material.TITANIUM] if bases else [])]
    contents = "; ".join(dict.fromkeys(CONTENTS[Material(m)] for m in made_of))
    chosen = [
        (stage == Stage.PROVISIONAL, PROVISIONAL),
        (True, STERILE),
        (bases or bool(NO_HEAT & set(materials)), HEAT),
        (on_implant, TORQUE),
        (Retention.ANGLED_SCREW in retentions, ANGLED),
        (True, SEATING),
        (Retention.CEMENT in retentions, CEMENT),
        (on_implant, SYSTEM),
        (True, AIRWAY),
        (True, CONTAINS.format(contents=contents, declared=said)),
        (Material.COBALT_CHROME in materials, COBALT),
        (bool(ZIRCONIA & set(materials)), ZIRCONIA_CARE),
        (on_implant and not ZIRCONIA & set(materials), CONNECTION_CARE),
        (True, PRESCRIBED),
        (True, PROBLEMS),
    ]
    return [text for applies, text in chosen if applies]
