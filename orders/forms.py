"""The two forms of an order: what is said once, and what is said of each tooth. They parse and print; verbs write."""

from typing import Any

from django import forms

from labqueue.base.forms import HouseForm
from orders import teeth
from orders.appointment import AppointmentForm
from orders.facts import ItemFacts
from orders.materials import Connection, Kind, Material, Retention, Stage
from orders.models import Practice

CHOOSE = [("", "Choose")]
MATERIALS = [*CHOOSE, *Material.choices]
# What a practice orders for a tooth: one product is one piece or two.
PRODUCTS = {
    "abutment_crown": ("Abutment and crown", (Kind.ABUTMENT, Kind.CROWN)),
    "abutment": ("Abutment", (Kind.ABUTMENT,)),
    "crown": ("Crown on an abutment that is in place", (Kind.CROWN,)),
    "screw_crown": ("One-piece crown on a titanium base", (Kind.SCREW_CROWN,)),
}


class OrderForm(AppointmentForm):
    """What is said once for the whole case."""

    patient_ref = forms.CharField(
        label="Patient reference",
        help_text="A code of your own, such as K-2041. Never a name or a date of birth.",
        max_length=40,
        error_messages={"required": "Give a code of your own for the patient, such as K-2041."},
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}),
    )
    stage = forms.ChoiceField(
        label="Stage",
        choices=Stage.choices,
        widget=forms.RadioSelect,
        error_messages={"required": "Choose provisional or final."},
    )
    note = forms.CharField(
        label="Note to the laboratory",
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="What the fields do not say. No name of the patient.",
    )

    def __init__(self, practice: Practice, *args: Any, signed: bool = False, **kwargs: Any) -> None:
        super().__init__(practice, *args, **kwargs)
        self.fields["patient_ref"].disabled = self.fields["stage"].disabled = signed


class ToothForm(HouseForm):
    """What is made for one tooth."""

    tooth = forms.CharField(
        label="Tooth",
        max_length=8,
        error_messages={"required": "Give the tooth, in the notation beside it."},
        widget=forms.TextInput(attrs={"autocomplete": "off", "size": 4}),
    )
    notation = forms.ChoiceField(
        label="Notation",
        choices=[*CHOOSE, *teeth.Notation.choices],
        error_messages={"required": "Choose the notation. A bare number can mean two teeth."},
    )
    product = forms.ChoiceField(
        label="Product",
        choices=[(code, label) for code, (label, _) in PRODUCTS.items()],
        widget=forms.RadioSelect,
        error_messages={"required": "Choose what is made for this tooth."},
    )
    abutment_material = forms.ChoiceField(label="Material of the abutment", required=False, choices=MATERIALS)
    abutment_shade = forms.CharField(
        label="Shade of the abutment", required=False, help_text="Only where it is tooth-coloured."
    )
    crown_material = forms.ChoiceField(label="Material of the crown", required=False, choices=MATERIALS)
    shade = forms.CharField(label="Shade of the crown", required=False, help_text="As on your shade guide.")
    layered = forms.BooleanField(label="Layered crown", required=False)
    retention = forms.ChoiceField(
        label="Retention", required=False, choices=[("", "Usual for the product"), *Retention.choices]
    )
    system = forms.CharField(
        label="Implant system",
        required=False,
        help_text="As on the label of the implant. Not needed for a crown alone.",
        widget=forms.TextInput(attrs={"list": "systems"}),
    )
    connection = forms.ChoiceField(label="Connection", required=False, choices=[*CHOOSE, *Connection.choices])
    platform = forms.DecimalField(
        label="Platform, mm",
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "size": 5}),
        help_text="Such as 4.3.",
    )

    def clean(self) -> dict[str, Any]:
        """Facts of a piece that is not ordered contradict the product."""
        values = super().clean() or {}
        kinds = PRODUCTS[values["product"]][1] if values.get("product") else tuple(Kind)
        if Kind.ABUTMENT not in kinds:
            self._without("abutment", values, "abutment_material", "abutment_shade")
        if kinds == (Kind.ABUTMENT,):
            self._without("crown", values, "crown_material", "shade", "layered")
        return values

    def _without(self, piece: str, values: dict[str, Any], *names: str) -> None:
        for name in [name for name in names if values.get(name)]:
            self.add_error(name, f"This product has no {piece}. Choose another product, or leave this empty.")

    @property
    def items(self) -> list[ItemFacts]:
        """The pieces of the product; none for a tooth that was left empty or is taken out."""
        values = self.cleaned_data
        if not values.get("product") or values.get("DELETE"):
            return []
        return [self._item(kind, alone=len(made) == 1) for made in [PRODUCTS[values["product"]][1]] for kind in made]

    def _item(self, kind: Kind, alone: bool) -> ItemFacts:
        """Of abutment and crown, the abutment meets the implant, and the retention that was chosen is the crown's."""
        values = self.cleaned_data
        names = ["tooth", "notation"]
        if kind != Kind.CROWN or alone:
            names += ["system", "connection", "platform"]
        if kind != Kind.ABUTMENT or alone:
            names += ["retention", "layered"]
        facts = {name: values[name] for name in names}
        return ItemFacts(kind=kind, material=values[material_field(kind)], shade=values[shade_field(kind)], **facts)


def material_field(kind: str) -> str:
    """The field of the tooth's form that holds the material of a piece of that kind."""
    return "abutment_material" if kind == Kind.ABUTMENT else "crown_material"


def shade_field(kind: str) -> str:
    """The field that holds its shade."""
    return "abutment_shade" if kind == Kind.ABUTMENT else "shade"
