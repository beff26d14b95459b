"""The order form as a whole: the case and its teeth on one sheet, and where each fault of an order is shown."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from django.forms import BaseFormSet, formset_factory
from django.http import QueryDict

from labqueue.base.errors import Fault, Refusal
from orders import teeth
from orders.appointment import appointment_values
from orders.facts import ORDER_COLUMNS, ItemFacts, order_facts
from orders.forms import PRODUCTS, OrderForm, ToothForm, material_field, shade_field
from orders.materials import Kind
from orders.models import Item, Practice, Prescription

MOST = 64
# What the form asks of a piece.
ASKED = (
    *("kind", "tooth", "notation", "material", "layered", "shade", "retention"),
    *("system", "connection", "platform"),
)


def owners(teeth_forms: "BaseFormSet[ToothForm]") -> list[tuple[ToothForm, ItemFacts]]:
    """The pieces of all teeth in their order, each with the form that it comes from."""
    return [(form, item) for form in teeth_forms.forms for item in form.items]


class OrderSheet:
    """The whole form: the case and its teeth."""

    def __init__(
        self, practice: Practice, data: QueryDict | None, draft: Prescription | None = None, another: bool = False
    ) -> None:
        signed = draft is not None and draft.case.current_id is not None
        self.draft = draft
        self.order = OrderForm(practice, data, initial=order_values(draft, practice), signed=signed)
        initial = [tooth_values(pieces, practice) for pieces in teeth_of(draft)]
        extra = 1 if another or not initial else 0
        sheet = formset_factory(ToothForm, extra=extra, can_delete=bool(initial), max_num=MOST, absolute_max=MOST)
        self.teeth = sheet(data, initial=initial, prefix="items")
        for form in self.teeth.extra_forms:
            form.fields["notation"].initial = practice.notation
            form.empty_permitted = bool(initial)
        for form in self.teeth.initial_forms:
            form.fields["DELETE"].label = "Take this tooth out"

    def is_valid(self) -> bool:
        """Whether everything could be read."""
        return all([self.order.is_valid(), self.teeth.is_valid()])

    def facts(self) -> dict[str, Any]:
        """As the verbs of `orders.intake` take them."""
        values = {name: self.order.cleaned_data[name] for name in ("patient_ref", "stage", "note")}
        given = {**values, "seat_at": self.order.seat_at, "items": [item for _, item in owners(self.teeth)]}
        return kept(self.draft, given) if self.draft else given

    def show(self, refusal: Refusal) -> None:
        """Put every fault at its field, or at the top where there is none."""
        pieces = owners(self.teeth)
        for fault in refusal.faults:
            if fault.field.startswith("items."):
                self._show_at(pieces, fault)
                continue
            field = "seat_day" if fault.field == "seat_at" else fault.field
            self.order.add_error(field if field in self.order.fields else None, fault.message)

    @staticmethod
    def _show_at(pieces: list[tuple[ToothForm, ItemFacts]], fault: Fault) -> None:
        _, index, name = fault.field.split(".")
        form, item = pieces[int(index)]
        own = {"kind": "product", "material": material_field(item.kind), "shade": shade_field(item.kind)}
        field = own.get(name, name)
        if fault.message not in form.errors.get(field, []):
            form.add_error(field, fault.message)


def kept(draft: Prescription, given: dict[str, Any]) -> dict[str, Any]:
    """What the form gives, and what it does not ask for as the draft says it."""
    before = order_facts(draft.case, draft)
    said = {name: getattr(before, name) for name in (*ORDER_COLUMNS, "reasons")}
    return {**said, **given, "items": [kept_item(before.items, item) for item in given["items"]]}


def kept_item(before: Sequence[ItemFacts], item: ItemFacts) -> ItemFacts:
    """A piece of the form, with what was said of the same piece beyond the form."""
    there = {(one.tooth, one.kind): one for one in before}
    try:
        old = there.get((str(teeth.read(item.tooth, item.notation)), item.kind))
    except Refusal:
        return item
    return replace(old, **{name: getattr(item, name) for name in ASKED}) if old else item


def order_values(draft: Prescription | None, practice: Practice) -> dict[str, Any]:
    """What the form shows of a draft."""
    if draft is None:
        return {}
    return {
        "patient_ref": draft.case.patient_ref,
        "stage": draft.case.stage,
        **appointment_values(draft.seat_at, practice),
        "note": draft.note,
    }


def teeth_of(draft: Prescription | None) -> list[list[Item]]:
    """The pieces of a draft, those of one tooth together."""
    found: dict[int, list[Item]] = {}
    for item in draft.items.all() if draft else []:
        found.setdefault(item.tooth, []).append(item)
    return list(found.values())


def tooth_values(pieces: list[Item], practice: Practice) -> dict[str, Any]:
    """What the form shows of the pieces of one tooth."""
    by_kind = {item.kind: item for item in pieces}
    product = next(code for code, (_, made) in PRODUCTS.items() if set(made) == by_kind.keys())
    lower = by_kind.get(Kind.ABUTMENT, pieces[0])
    upper = next((item for kind, item in by_kind.items() if kind != Kind.ABUTMENT), lower)
    values = {material_field(item.kind): item.material for item in pieces}
    values |= {shade_field(item.kind): item.shade for item in pieces}
    return {
        "tooth": teeth.sign(lower.tooth, practice.notation),
        "notation": practice.notation,
        "product": product,
        "layered": upper.layered,
        "retention": upper.retention if upper.kind == Kind.SCREW_CROWN else "",
        "system": lower.system,
        "connection": lower.connection,
        "platform": lower.platform_mm.removesuffix(" mm"),
        **values,
    }
