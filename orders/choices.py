"""The words that an order may use beside those of `orders.materials`: one list per field of the prescription."""

from django.db import models

from orders.materials import Kind, Material


class Level(models.TextChoices):
    """Where the neck of the implant ends."""

    BONE = "bone", "Bone level"
    TISSUE = "tissue", "Tissue level"


class Emergence(models.TextChoices):
    """What the emergence profile does with the soft tissue."""

    FOLLOW = "follow", "Follow the tissue"
    EXPAND = "expand", "Expand the tissue"
    COPY = "copy", "Copy the provisional"
    LABORATORY = "laboratory", "The laboratory decides"


class Impression(models.TextChoices):
    """How the position of the implant comes to the laboratory."""

    SCAN = "scan", "Scan"
    OPEN_TRAY = "open_tray", "Impression, open tray"
    CLOSED_TRAY = "closed_tray", "Impression, closed tray"


class Analog(models.TextChoices):
    """Where the analog of the implant comes from."""

    ENCLOSED = "enclosed", "Enclosed"
    LABORATORY = "laboratory", "From the laboratory"


class Opposing(models.TextChoices):
    """How the opposing arch comes."""

    SCAN = "scan", "Scan"
    IMPRESSION = "impression", "Impression"
    MODEL = "model", "Model"


class Bite(models.TextChoices):
    """How the bite comes."""

    SCAN = "scan", "Scan"
    RECORD = "record", "Record"


class Stump(models.TextChoices):
    """What shines through a crown from below."""

    TOOTH = "tooth", "Tooth-coloured"
    DARK = "dark", "Dark"
    METAL = "metal", "Metal"


class Occlusion(models.TextChoices):
    """How the crown meets the opposing arch."""

    LIGHT = "light", "Light"
    NORMAL = "normal", "Normal"
    OUT = "out", "Out of contact"


class Guidance(models.TextChoices):
    """What guides the lateral movement."""

    NONE = "none", "No guidance on these teeth"
    CANINE = "canine", "Canine guidance"
    GROUP = "group", "Group function"


class Answer(models.TextChoices):
    """Yes, no, or nobody knows."""

    YES = "yes", "Yes"
    NO = "no", "No"
    UNKNOWN = "unknown", "Not known"


class Allergy(models.TextChoices):
    """Whether the patient is allergic to what teeth are made of. Every order says it."""

    NONE = "none", "None known to the patient"
    UNKNOWN = "unknown", "Nobody asked"
    YES = "yes", "Yes"


class Wanted(models.TextChoices):
    """Whether the practice wants to see the design before it is milled."""

    YES = "yes", "Yes"
    NO = "no", "No"


class Contacts(models.TextChoices):
    """How the crown meets its neighbours."""

    TIGHT = "tight", "Tight"
    NORMAL = "normal", "Normal"
    LIGHT = "light", "Light"
    OPEN = "open", "Open on purpose"


class Texture(models.TextChoices):
    """How structured the surface is."""

    LIGHT = "light", "Light"
    MEDIUM = "medium", "Medium"
    HEAVY = "heavy", "Heavy"


class Lustre(models.TextChoices):
    """How the surface shines."""

    MATT = "matt", "Matt"
    SILK = "silk", "Silk"
    GLOSS = "gloss", "Gloss"


class Allergen(models.TextChoices):
    """What a patient does not bear."""

    TITANIUM = "titanium", "Titanium"
    NICKEL = "nickel", "Nickel"
    COBALT = "cobalt", "Cobalt"
    ALL_METALS = "all_metals", "All metals"
    ACRYLIC = "acrylic", "Acrylic"
    OTHER = "other", "Something else"


class Enclosed(models.TextChoices):
    """What lies in the parcel with the order."""

    IMPRESSION = "impression", "Impression"
    OPPOSING = "opposing", "Opposing impression or model"
    BITE = "bite", "Bite record"
    ANALOG = "analog", "Analog"
    SCREW = "screw", "Screw"
    TITANIUM_BASE = "titanium_base", "Titanium base"
    SCAN_BODY = "scan_body", "Scan body"
    PROVISIONAL = "provisional", "Provisional"
    PHOTOS = "photos", "Photos"


class Parts(models.TextChoices):
    """Who supplies screw, titanium base, analog and scan body."""

    LABORATORY = "laboratory", "The laboratory"
    PRACTICE = "practice", "The practice"


class Delivery(models.TextChoices):
    """How the case leaves; nothing said is by courier."""

    COURIER = "courier", "By courier"
    COLLECTION = "collection", "Collected by the practice"


class Base(models.TextChoices):
    """What an abutment is, seen from the implant; nothing said is what is usual for its material."""

    ONE_PIECE = "one_piece", "One piece on the implant"
    TITANIUM_BASE = "titanium_base", "Sleeve on a titanium base"


class Relation(models.TextChoices):
    """What a case is to an earlier one; nothing said is a first make."""

    FINAL = "final", "Final after a provisional"
    REMAKE = "remake", "Remake"
    ADJUSTMENT = "adjustment", "Adjustment"


class Cause(models.TextChoices):
    """Why a piece is made again."""

    SHADE = "shade", "Shade"
    CONTACT = "contact", "Contacts"
    FIT = "fit", "Fit"
    OCCLUSION = "occlusion", "Occlusion"
    IMPRESSION = "impression", "Impression or scan"
    FRACTURE = "fracture", "Fracture"
    WRONG_PART = "wrong_part", "Wrong part"
    ORDER_ENTRY = "order_entry", "Mistake in the order"
    CHANGED_WISH = "changed_wish", "Changed wish"
    OTHER = "other", "Something else"


class Pack(models.TextChoices):
    """The law of the place where a practice works; the union asks for what any of them asks for."""

    UNION = "union", "All of them together"
    US_MARYLAND = "us_md", "United States, Maryland"
    US_WEST_VIRGINIA = "us_wv", "United States, West Virginia"
    US_CONNECTICUT = "us_ct", "United States, Connecticut"
    US_MISSISSIPPI = "us_ms", "United States, Mississippi"
    US_FLORIDA = "us_fl", "United States, Florida"
    US_TEXAS = "us_tx", "United States, Texas"
    US_WASHINGTON = "us_wa", "United States, Washington"
    US_KENTUCKY = "us_ky", "United States, Kentucky"
    EU = "eu", "European Union"
    GREAT_BRITAIN = "gb", "Great Britain"
    NORTHERN_IRELAND = "gb_ni", "Northern Ireland"
    ONTARIO = "ca_on", "Canada, Ontario"
    QUEBEC = "ca_qc", "Canada, Quebec"


def usual_base(kind: str, material: str) -> str:
    """On what a piece sits where nobody says it: metal abutments are one piece, all else is bonded to a base."""
    if kind == Kind.CROWN:
        return ""
    metal = kind == Kind.ABUTMENT and material in (Material.TITANIUM, Material.COBALT_CHROME)
    return Base.ONE_PIECE if metal else Base.TITANIUM_BASE
