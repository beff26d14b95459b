"""The fields of a prescription as data: what each is, of which piece it is asked, and what its absence does.

The numbers are those of the trade's list of what a laboratory must know; fields without one only serve the rules.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum

from orders.choices import Relation
from orders.facts import OrderFacts
from orders.materials import Kind, Retention, Stage
from orders.models import Item
from orders.teeth import is_anterior


class Effect(StrEnum):
    """What happens where a field says nothing."""

    AUTO = "auto"  # the service knows it
    REFUSE = "refuse"  # nothing is written
    HOLD = "hold"  # the order is taken and stands still
    ASK = "ask"  # it is left to the laboratory
    DEFAULT = "default"  # what is usual counts
    NONE = "none"


class Of(StrEnum):
    """Where a field is kept."""

    HOUSE = "house"
    SIGNATURE = "signature"
    CASE = "case"
    ORDER = "order"
    ITEM = "item"
    FILES = "files"


Concerns = Callable[[OrderFacts, Item | None], bool]
CROWNS = (Kind.CROWN, Kind.SCREW_CROWN)
ON_IMPLANT = (Kind.ABUTMENT, Kind.SCREW_CROWN)
SCAN = "scan"


def always(order: OrderFacts, item: Item | None) -> bool:
    """Of every order, every piece."""
    return True


def of(*kinds: str) -> Concerns:
    """Of pieces of these kinds; said once for the order, where it has such a piece."""

    def concerns(order: OrderFacts, item: Item | None) -> bool:
        return item.kind in kinds if item else any(one.kind in kinds for one in order.items)

    return concerns


def anterior_crown(order: OrderFacts, item: Item | None) -> bool:
    """Of crowns that are seen."""
    return item is not None and item.kind in CROWNS and is_anterior(item.tooth)


def angulated(order: OrderFacts, item: Item | None) -> bool:
    """Of pieces whose screw does not stand in the axis of the implant."""
    return item is not None and item.retention == Retention.ANGLED_SCREW


def scanned(order: OrderFacts, item: Item | None) -> bool:
    """Where the implant was scanned; of its pieces, those that meet it."""
    return order.impression == SCAN and (item is None or item.kind in ON_IMPLANT)


def moulded(order: OrderFacts, item: Item | None) -> bool:
    """Where an impression was taken."""
    return order.impression not in ("", SCAN)


def physical(order: OrderFacts, item: Item | None) -> bool:
    """Where anything comes that was in a mouth or in a parcel."""
    return moulded(order, item) or bool(order.enclosed)


def allergic(order: OrderFacts, item: Item | None) -> bool:
    """Where there is an allergy."""
    return order.allergy == "yes"


def allergic_to_other(order: OrderFacts, item: Item | None) -> bool:
    """Where there is an allergy that no list has."""
    return allergic(order, item) and "other" in order.allergens


def gum_unknown(order: OrderFacts, item: Item | None) -> bool:
    """Of abutments without a record of the soft tissue."""
    return item is not None and item.kind == Kind.ABUTMENT and not item.tissue_recorded


def final(order: OrderFacts, item: Item | None) -> bool:
    """Of finals."""
    return order.stage == Stage.FINAL


def after_provisional(order: OrderFacts, item: Item | None) -> bool:
    """Of finals with a crown that follow a provisional."""
    return final(order, item) and order.relation == Relation.FINAL and of(*CROWNS)(order, item)


@dataclass(frozen=True)
class Field:
    """One field, or some that are asked together: all of them, or `one_is_enough`. `want` says what would satisfy."""

    number: int
    label: str
    of: Of
    names: tuple[str, ...]
    effect: Effect
    want: str = ""
    concerns: Concerns = always
    one_is_enough: bool = False


SIDES = ("facial", "lingual", "mesial", "distal")
MARGINS = tuple(f"margin_{side}" for side in SIDES)
GINGIVAL = tuple(f"gingival_{side}" for side in SIDES)
E, O, I = Effect, Of.ORDER, Of.ITEM  # noqa: E741 - the table below is read by columns
LABEL_OF_IMPLANT = "as on the label of the implant"

FIELDS: tuple[Field, ...] = (
    Field(1, "Laboratory", Of.HOUSE, (), E.AUTO),
    Field(2, "Practice", Of.HOUSE, (), E.AUTO),
    Field(3, "Prescriber", Of.SIGNATURE, ("signed_by",), E.REFUSE, "A prescriber of the practice signs."),
    Field(4, "Licence number", Of.SIGNATURE, ("licence_number",), E.REFUSE, "Who signs has a licence number."),
    Field(5, "Signature and date", Of.SIGNATURE, ("signed_at",), E.REFUSE, "Nothing is made before a signature."),
    Field(6, "Patient reference", Of.CASE, ("patient_ref",), E.REFUSE, "Give a code of your own for the patient."),
    Field(7, "Pieces", O, ("items",), E.REFUSE, "Order at least one piece."),
    Field(8, "Material", I, ("material",), E.REFUSE, "Choose the material."),
    Field(9, "Stage", Of.CASE, ("stage",), E.REFUSE, "Say whether it is a provisional or a final."),
    Field(9, "Relation", Of.CASE, ("relation", "cause", "cause_note"), E.DEFAULT, "It is a first make."),
    Field(10, "Tooth", I, ("tooth",), E.REFUSE, "Give the tooth with its notation."),
    Field(
        11, "Implant system", I, ("system",), E.HOLD, f"Give the implant system {LABEL_OF_IMPLANT}.", of(*ON_IMPLANT)
    ),
    Field(
        *(11, "Catalogue and lot number", I, ("catalogue", "lot"), E.ASK),
        *(f"Give catalogue and lot number {LABEL_OF_IMPLANT}.", of(*ON_IMPLANT)),
    ),
    Field(12, "Connection", I, ("connection",), E.HOLD, "Choose the connection of the implant.", of(*ON_IMPLANT)),
    Field(
        *(12, "Platform", I, ("platform",), E.HOLD),
        *(f"Give the diameter of the platform in millimetres {LABEL_OF_IMPLANT}, such as 4.3.", of(*ON_IMPLANT)),
    ),
    Field(
        *(12, "Level", I, ("level",), E.HOLD, "Say whether the implant ends at bone or at tissue level."),
        of(*ON_IMPLANT),
    ),
    Field(13, "Engaging", I, ("engaging", "splinted"), E.DEFAULT, "A single piece engages.", of(*ON_IMPLANT)),
    # What a piece is says how it is held, but for the angulated channel, which is chosen; so nothing has to wait.
    Field(14, "Retention", I, ("retention",), E.DEFAULT, "What is usual for the piece."),
    Field(14, "Angle", I, ("angle",), E.HOLD, "Give the angle of the screw channel in degrees.", angulated),
    Field(15, "Layering", I, ("layered",), E.DEFAULT, "Not layered.", of(Kind.CROWN)),
    Field(16, "Margins", I, MARGINS, E.ASK, "Give the depth of the margin on each side.", of(Kind.ABUTMENT)),
    Field(
        *(17, "Height of the gum", I, GINGIVAL, E.ASK),
        *("Give the height of the gum on each side, or a record of the soft tissue.", gum_unknown),
    ),
    Field(17, "Record of the soft tissue", I, ("tissue_recorded",), E.NONE, "", of(Kind.ABUTMENT)),
    Field(18, "Emergence", I, ("emergence",), E.ASK, "Say what the emergence profile is to do.", of(*ON_IMPLANT)),
    Field(19, "Impression", O, ("impression",), E.HOLD, "Say how the position of the implant is taken."),
    Field(19, "Analog", O, ("analog",), E.HOLD, "Say whether the analog is enclosed.", moulded),
    Field(19, "Date of the scan", O, ("scanned_on",), E.ASK, "Give the day of the scan.", scanned),
    Field(19, "Scan files", Of.FILES, ("implant_scan",), E.HOLD, "Send the scan files.", scanned),
    Field(19, "Scan body", I, ("scan_body",), E.HOLD, "Name the scan body that was scanned.", scanned),
    Field(
        *(19, "Platform of the scan body", I, ("scan_platform",), E.HOLD),
        *("Give the platform of the scan body in millimetres.", scanned),
    ),
    Field(20, "Opposing arch", O, ("opposing",), E.HOLD, "Say how the opposing arch comes.", of(*CROWNS)),
    Field(20, "Bite", O, ("bite",), E.HOLD, "Say how the bite comes.", of(*CROWNS)),
    Field(21, "Shade", I, ("shade",), E.HOLD, "Give the shade of the crown, as on your shade guide.", of(*CROWNS)),
    # The shade alone holds: where no guide is named, the practice's own guide counts.
    Field(
        *(21, "Shade in detail", I, ("shade_guide", "shade_cervical", "shade_incisal", "stump", "stump_shade"), E.ASK),
        *("Name the shade guide, the shades at neck and edge, and what lies below.", of(*CROWNS)),
    ),
    Field(
        *(22, "Photos", Of.FILES, ("photo_retracted", "photo_shade", "photo_smile"), E.ASK),
        *("Send photos: retracted, with the shade tab, of the smile.", of(*CROWNS)),
    ),
    Field(
        *(22, "Photo of the provisional", Of.FILES, ("photo_provisional",), E.ASK),
        *("Send a photo of the provisional in place.", after_provisional),
    ),
    Field(23, "Occlusion", I, ("occlusion",), E.ASK, "Say how the crown is to meet the opposing tooth.", of(*CROWNS)),
    Field(
        *(23, "Guidance and bruxism", O, ("guidance", "bruxism"), E.ASK),
        *("Say what guides the jaw, and whether the patient grinds.", of(*CROWNS)),
    ),
    Field(24, "Contacts", I, ("contacts",), E.DEFAULT, "Normal contacts.", of(*CROWNS)),
    Field(
        *(25, "Surface", I, ("texture", "lustre", "characterisation"), E.ASK),
        *("Say how the surface is to look.", anterior_crown, True),
    ),
    Field(26, "Seat appointment", O, ("seat_at",), E.ASK, "Without an appointment the usual working days count."),
    Field(27, "Allergy", O, ("allergy",), E.REFUSE, "Say whether the patient has an allergy: none, unknown or yes."),
    Field(27, "Allergens", O, ("allergens",), E.REFUSE, "Say what the patient does not bear.", allergic),
    Field(27, "Other allergen", O, ("allergy_note",), E.ASK, "Name what the patient does not bear.", allergic_to_other),
    Field(28, "Disinfectant", O, ("disinfected_with",), E.HOLD, "Say with what it was disinfected.", physical),
    Field(
        *(28, "Disinfection", O, ("disinfected_minutes",), E.HOLD),
        *("Say for how many minutes it was disinfected.", physical),
    ),
    Field(29, "Enclosed", O, ("enclosed",), E.NONE, "Counted when the parcel is opened.", physical),
    Field(30, "Earlier case", Of.CASE, ("origin",), E.ASK, "Open the final from its provisional.", final),
    Field(31, "Approval and contact", O, ("approval", "contact"), E.DEFAULT, "As agreed with the practice."),
    Field(32, "Parts", O, ("parts",), E.DEFAULT, "As agreed with the practice."),
    Field(0, "Base", I, ("base", "chimney"), E.NONE, "What is usual for the material.", of(*ON_IMPLANT)),
    Field(0, "Space", I, ("height", "implant_length"), E.NONE, "", of(*ON_IMPLANT)),
    Field(0, "Delivery", O, ("rush", "delivery"), E.NONE),
    Field(0, "Note", O, ("note",), E.NONE),
)


def names_of(level: Of) -> tuple[str, ...]:
    """All columns that are kept there, in the order of the fields."""
    return tuple(name for field in FIELDS if field.of == level for name in field.names)


def field_of(name: str) -> Field:
    """The field that a column belongs to. Raises StopIteration for a name that is none."""
    return next(field for field in FIELDS if name in field.names)


def column_label(name: str) -> str:
    """A column in words: `margin_facial` is `margin facial`."""
    return name.replace("_", " ")


def missing(names: Iterable[str], row: object) -> list[str]:
    """Those columns of a row that say nothing."""
    return [name for name in names if getattr(row, name) in (None, "", [], ())]
