"""What is made for one tooth: a product, which is one piece or two, and what is said of each."""

from dataclasses import dataclass
from typing import Any

from django import forms

from labqueue.base.errors import Refusal
from labqueue.base.forms import HouseForm
from orders import choices, teeth
from orders.facts import ItemFacts
from orders.fields import GINGIVAL, MARGINS
from orders.form import words
from orders.materials import Connection, Kind, Material, Retention

CHOOSE = [("", "Choose")]
MATERIALS = [*CHOOSE, *Material.choices]
# What a practice orders for a tooth: one product is one piece or two.
PRODUCTS = {
    "abutment_crown": ("Abutment and crown", (Kind.ABUTMENT, Kind.CROWN)),
    "abutment": ("Abutment", (Kind.ABUTMENT,)),
    "crown": ("Crown on an abutment that is in place", (Kind.CROWN,)),
    "screw_crown": ("One-piece crown on a titanium base", (Kind.SCREW_CROWN,)),
}
LABEL = ("system", "connection", "platform", "catalogue", "lot")
ON_IMPLANT = (
    *LABEL,
    *("level", "engaging", "splinted", "scan_body", "scan_platform", "base", "emergence", "height", "implant_length"),
)
OF_ABUTMENT = (*MARGINS, *GINGIVAL, "tissue_recorded")
OF_CROWN = (
    *("layered", "retention", "shade_guide", "shade_cervical", "shade_incisal", "stump", "stump_shade"),
    *("occlusion", "contacts", "texture", "lustre", "characterisation"),
)
# What the form asks of a piece of each kind beside its tooth, material and shade; of a crown by itself, too, what
# stands on the label of the implant below.
ASKED: dict[str, tuple[str, ...]] = {
    Kind.ABUTMENT: (*ON_IMPLANT, *OF_ABUTMENT),
    Kind.CROWN: OF_CROWN,
    Kind.SCREW_CROWN: (*ON_IMPLANT, *OF_CROWN, "angle", "chimney"),
}


# What stands open on the form; all else is folded away.
UNFOLDED = {
    *("chart", "tooth", "notation", "product", "abutment_material", "crown_material", "shade"),
    *(*LABEL, "level", "scan_body", "scan_platform"),
}


@dataclass(frozen=True)
class Piece:
    """One piece of a tooth, and the names of what was asked of it."""

    facts: ItemFacts
    asked: tuple[str, ...]


class ToothForm(HouseForm):
    """One tooth."""

    chart = forms.ChoiceField(
        label="Tooth on the chart",
        required=False,
        choices=[(str(fdi), teeth.words(fdi)) for fdi in teeth.PERMANENT],
        widget=forms.RadioSelect,
    )
    tooth = words.text("Tooth", "Typed, or chosen on the chart.", size=4)
    notation = forms.ChoiceField(label="Notation", required=False, choices=[*CHOOSE, *teeth.Notation.choices])
    product = forms.ChoiceField(
        label="Product",
        choices=[(code, label) for code, (label, _) in PRODUCTS.items()],
        widget=forms.RadioSelect,
        error_messages={"required": "Choose what is made for this tooth."},
    )
    abutment_material = forms.ChoiceField(label="Material of the abutment", required=False, choices=MATERIALS)
    abutment_shade = words.text("Shade of the abutment", "Only where it is tooth-coloured.")
    crown_material = forms.ChoiceField(label="Material of the crown", required=False, choices=MATERIALS)
    shade = words.text("Shade of the crown", "As on your shade guide.")
    layered = words.tick("Layered crown")
    retention = words.select("Retention", Retention, "Usual for the product")
    angle = words.whole("Channel angle, degrees")
    system = words.text("Implant system", "As on the label of the implant.", list="systems")
    connection = forms.ChoiceField(label="Connection", required=False, choices=[*CHOOSE, *Connection.choices])
    platform = words.length("Platform, mm", "Such as 4.3.")
    level = words.select("Level of the implant", choices.Level)
    catalogue = words.text("Catalogue number")
    lot = words.text("Lot number")
    engaging = forms.ChoiceField(
        label="Against turning",
        required=False,
        choices=[("", "Engaging, as usual"), ("no", "Non-engaging")],
    )
    splinted = words.tick("Splinted to its neighbour")
    scan_body = words.text("Scan body", "Its name in the library.")
    scan_platform = words.length("Scan body, platform in mm")
    base = words.select("Sits on", choices.Base, "Usual for the material")
    chimney = words.length("Chimney of the base, mm")
    height = words.length("Platform to opposing, mm")
    implant_length = words.length("Length of the implant, mm")
    emergence = words.select("Emergence profile", choices.Emergence)
    margin_facial = words.length("Margin facial, mm", "Minus is below the gum.")
    margin_lingual = words.length("Margin lingual, mm")
    margin_mesial = words.length("Margin mesial, mm")
    margin_distal = words.length("Margin distal, mm")
    gingival_facial = words.length("Gum facial, mm")
    gingival_lingual = words.length("Gum lingual, mm")
    gingival_mesial = words.length("Gum mesial, mm")
    gingival_distal = words.length("Gum distal, mm")
    tissue_recorded = words.tick("Soft tissue recorded", "By scan or in the impression.")
    shade_guide = words.text("Shade guide")
    shade_cervical = words.text("Shade at the neck")
    shade_incisal = words.text("Shade at the edge")
    stump = words.select("Below the crown", choices.Stump)
    stump_shade = words.text("Shade of the stump")
    occlusion = words.select("Contact in the bite", choices.Occlusion)
    contacts = forms.ChoiceField(
        label="Contacts with the neighbours",
        required=False,
        choices=[("", "Normal, as usual"), *(one for one in choices.Contacts.choices if one[0] != "normal")],
    )
    texture = words.select("Texture", choices.Texture)
    lustre = words.select("Lustre", choices.Lustre)
    characterisation = words.text("Characterisation", "Cracks, spots, translucency.")

    def clean(self) -> dict[str, Any]:
        """The tooth is chosen or typed, and facts of a piece that is not ordered contradict the product."""
        values = super().clean() or {}
        self._choose_tooth(values)
        kinds = PRODUCTS[values["product"]][1] if values.get("product") else tuple(Kind)
        if Kind.ABUTMENT not in kinds:
            self._without("abutment", values, "abutment_material", "abutment_shade")
        if kinds == (Kind.ABUTMENT,):
            self._without("crown", values, "crown_material", "shade", "layered")
        return values

    def _choose_tooth(self, values: dict[str, Any]) -> None:
        """One of chart and field, or both where they mean the same; on a saved tooth, the one that was changed."""
        chart, typed, notation = (values.get(name, "") for name in ("chart", "tooth", "notation"))
        by_chart = bool(chart) and (not typed or self._only_changed("chart"))
        if by_chart:
            values["tooth"], values["notation"] = chart, teeth.Notation.FDI
        elif not typed:
            self.add_error("tooth", "Give the tooth with its notation, or choose it on the chart.")
        elif not notation:
            self.add_error("notation", "Choose the notation. A bare number can mean two teeth.")
        elif chart and not self._only_changed("tooth", "notation") and differs(chart, typed, notation):
            self.add_error("tooth", "The chart says another tooth. Choose it there, or take one of both out.")

    def _only_changed(self, *names: str) -> bool:
        """Whether of chart and field, only these were changed since the form was shown."""
        changed = {name for name in ("chart", "tooth", "notation") if name in self.changed_data}
        return bool(changed) and changed <= set(names) and "chart" in self.initial

    def _without(self, piece: str, values: dict[str, Any], *names: str) -> None:
        for name in [name for name in names if values.get(name)]:
            self.add_error(name, f"This product has no {piece}. Choose another product, or leave this empty.")

    @property
    def implant_said(self) -> str:
        """The implant in words, where an order begins with it; empty where something of it is still to be said."""
        names = ("system", "connection", "platform", "level")
        system, connection, platform, level = (self.initial.get(name) for name in names)
        if self.is_bound or not (system and connection and platform and level):
            return ""
        return f"{system}, {Connection(connection).label.lower()}, {platform} mm, {choices.Level(level).label.lower()}"

    @property
    def wishes_wrong(self) -> bool:
        """Whether a fault lies where the form is folded."""
        return self.is_bound and bool(set(self.errors) - UNFOLDED)

    @property
    def wishes_said(self) -> str:
        """What is filled in where the form is folded."""
        return words.said_in(self, [name for name in self.fields if name not in {*UNFOLDED, "DELETE"}])

    @property
    def pieces(self) -> list[Piece]:
        """The pieces of the product; none for a tooth that was left empty or is taken out."""
        values = self.cleaned_data
        if not values.get("product") or values.get("DELETE"):
            return []
        kinds = PRODUCTS[values["product"]][1]
        return [self._piece(kind, (*ASKED[kind], *(LABEL if kinds == (Kind.CROWN,) else ()))) for kind in kinds]

    def _piece(self, kind: Kind, asked: tuple[str, ...]) -> Piece:
        """One piece with what was asked of it; what cannot be read is not said."""
        said = {name: words.read(self, name) for name in asked}
        if "engaging" in said:
            said["engaging"] = said["engaging"] != "no"
        if "contacts" in said:
            said["contacts"] = said["contacts"] or choices.Contacts.NORMAL
        material, shade = (words.read(self, name) for name in (material_field(kind), shade_field(kind)))
        own = {"kind": kind, "material": material, "shade": shade}
        where = {name: words.read(self, name) for name in ("tooth", "notation")}
        return Piece(ItemFacts(**own, **where, **said), (*own, *where, *said))


def differs(chart: str, typed: str, notation: str) -> bool:
    """Whether both are teeth, and not the same. What cannot be read is refused elsewhere, in its own words."""
    try:
        return teeth.read(typed, notation) != int(chart)
    except Refusal:
        return False


def material_field(kind: str) -> str:
    """The field of the tooth's form that holds the material of a piece of that kind."""
    return "abutment_material" if kind == Kind.ABUTMENT else "crown_material"


def shade_field(kind: str) -> str:
    """The field that holds its shade."""
    return "abutment_shade" if kind == Kind.ABUTMENT else "shade"
