"""The order form as a whole: the case and its teeth on one sheet, and where each fault of an order is shown."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from django.forms import BaseFormSet, Form, formset_factory
from django.http import QueryDict

from labqueue.base.errors import Refusal
from orders import reasons, teeth
from orders.appointment import appointment_values
from orders.choices import Impression
from orders.facts import ItemFacts, OrderFacts, ReasonFacts, order_facts
from orders.findings import Finding
from orders.form.order import ASKED, HOW_IT_COMES, OPENED_WITH, OrderForm
from orders.form.tooth import ASKED as ASKED_OF
from orders.form.tooth import LABEL, PRODUCTS, Piece, ToothForm, material_field, shade_field
from orders.materials import Kind
from orders.models import Practice, Prescription

MOST = 64
# The fields that say together which tooth it is.
WHERE = ("chart", "tooth", "notation")


class OrderSheet:
    """The whole form. `begin` is what it begins with; `draft` the version that it changes, None for a new case."""

    def __init__(
        self,
        practice: Practice,
        data: QueryDict | None,
        begin: OrderFacts | None = None,
        draft: Prescription | None = None,
        another: bool = False,
    ) -> None:
        self.data, self.draft = data, draft
        facts = begin or (order_facts(draft.case, draft) if draft else None)
        signed = draft is not None and draft.case.current_id is not None
        self.order = OrderForm(practice, data, initial=order_values(facts, practice), signed=signed)
        initial = [tooth_values(pieces, practice) for pieces in teeth_of(facts.items if facts else ())]
        saved = bool(draft and initial)
        extra = 1 if another or not initial else 0
        sheet = formset_factory(ToothForm, extra=extra, can_delete=saved, max_num=MOST, absolute_max=MOST)
        self.teeth: BaseFormSet[ToothForm] = sheet(data, initial=initial, prefix="items")
        for form in self.teeth.extra_forms:
            form.fields["notation"].initial = practice.notation
            form.empty_permitted = saved
        for form in self.teeth.initial_forms if saved else ():
            form.fields["DELETE"].label = "Take this tooth out"
        if data is None and draft is None:
            self._begin_at()

    def _begin_at(self) -> None:
        """Where typing begins: at the patient, or at the first material of an order that an earlier case began."""
        first, form = self.order.fields["patient_ref"], self.teeth.forms[0]
        if self.order.initial.get("patient_ref"):
            product = form.initial.get("product", "")
            abutment = Kind.ABUTMENT in PRODUCTS[product][1] if product else True
            first = form.fields[material_field(Kind.ABUTMENT if abutment else Kind.CROWN)]
        first.widget.attrs["autofocus"] = True

    @property
    def comes_as_usual(self) -> str:
        """How it comes, in words, where that is said already; empty where something of it is still to be said.

        The words say with what it was disinfected, for whoever signs states that; the minutes stand beside the fold.
        The day of a scan is said each time, so nothing is folded without it.
        """
        said = {name: self.order[name].value() for name in HOW_IT_COMES}
        scan = said["impression"] == Impression.SCAN
        moulded = () if scan else ("analog", "disinfected_with")
        needed = ("impression", "opposing", "bite", *moulded)
        wrong = self.order.is_bound and set(self.order.errors) & {*HOW_IT_COMES, "scanned_on"}
        if wrong or any(not said[name] for name in needed) or (scan and not self.order["scanned_on"].value()):
            return ""
        labels = [str(Impression(said["impression"]).label)] if said["impression"] in Impression.values else []
        treated = [] if scan else [f"disinfected with {said['disinfected_with']}"]
        return ", ".join([*labels, *treated])

    def is_valid(self) -> bool:
        """Whether everything could be read."""
        return all([self.order.is_valid(), self.teeth.is_valid()])

    @property
    def pieces(self) -> list[tuple[ToothForm, Piece]]:
        """The pieces of all teeth in their order, each with the form that it comes from."""
        return [(form, piece) for form in self.teeth.forms for piece in form.pieces]

    def facts(self) -> dict[str, Any]:
        """As the verbs of `orders.intake` take them."""
        sent = reasons.sent(self.data or {})
        given = {**self.order.facts(), "items": [piece.facts for _, piece in self.pieces], "reasons": sent}
        return self._kept(self.draft, given) if self.draft else given

    def _kept(self, draft: Prescription, given: dict[str, Any]) -> dict[str, Any]:
        """What the form gives, and what it does not ask for as the draft says it."""
        before = order_facts(draft.case, draft)
        items = [kept_item(before.items, piece) for _, piece in self.pieces]
        said = [*given["reasons"], *unsaid(before.reasons, given["reasons"])]
        once = {name: value for name, value in given.items() if name not in OPENED_WITH}
        return {**once, "items": items, "reasons": said}

    def show(self, refusal: Refusal) -> None:
        """Put every fault at its field, or at the top where there is none."""
        pieces = self.pieces
        for fault in refusal.faults:
            form, place = self._place(pieces, fault.field)
            if fault.message not in form.errors.get(place or "__all__", []):
                form.add_error(place, fault.message)

    def readable(self, findings: Iterable[Finding]) -> list[Finding]:
        """Those of which the field could be read; of the others nothing can be said but that."""
        pieces = self.pieces
        return [one for one in findings if not self._unread(pieces, one.field)]

    def _unread(self, pieces: Sequence[tuple[ToothForm, Piece]], path: str) -> bool:
        """Whether what a fault names could not be read."""
        form, place = self._place(pieces, path)
        if path == "items":
            return any(one.errors for one in self.teeth.forms)
        return any(name in form.errors for name in (WHERE if place in WHERE else (place,)))

    def _place(self, pieces: Sequence[tuple[ToothForm, Piece]], path: str) -> tuple[Form, str | None]:
        """The form of the field that a path of an order names, and that field; None where it has none."""
        if not path.startswith("items."):
            field = "seat_day" if path == "seat_at" else path
            return self.order, field if field in self.order.fields else None
        _, index, name = path.split(".")
        form, piece = pieces[int(index)]
        kind = piece.facts.kind
        own = {"kind": "product", "material": material_field(kind), "shade": shade_field(kind)}
        field = own.get(name, name)
        return form, field if field in form.fields else None


def unsaid(before: Iterable[ReasonFacts], now: Iterable[ReasonFacts]) -> list[ReasonFacts]:
    """The reasons of a draft that the form did not give anew."""
    said = {(one.rule, reasons.tooth_of(one)) for one in now}
    return [one for one in before if (one.rule, reasons.tooth_of(one)) not in said]


def kept_item(before: Sequence[ItemFacts], piece: Piece) -> ItemFacts:
    """A piece of the form, with what was said of the same piece beyond the form."""
    there = {(one.tooth, one.kind): one for one in before}
    item = piece.facts
    try:
        old = there.get((str(teeth.read(item.tooth, item.notation)), item.kind))
    except Refusal:
        return item
    return replace(old, **{name: getattr(item, name) for name in piece.asked}) if old else item


def order_values(facts: OrderFacts | None, practice: Practice) -> dict[str, Any]:
    """What the form shows of an order."""
    if facts is None:
        return {}
    values = {name: getattr(facts, name) for name in ("patient_ref", "stage", *ASKED, *OPENED_WITH)}
    return {**values, **appointment_values(facts.seat_at, practice)}


def teeth_of(items: Sequence[ItemFacts]) -> list[list[ItemFacts]]:
    """The pieces of an order, those of one tooth together."""
    found: dict[str, list[ItemFacts]] = {}
    for item in items:
        found.setdefault(item.tooth, []).append(item)
    return list(found.values())


def tooth_values(pieces: list[ItemFacts], practice: Practice) -> dict[str, Any]:
    """What the form shows of the pieces of one tooth, which is written in FDI or not known yet."""
    by_kind = {item.kind: item for item in pieces}
    product = next(code for code, (_, made) in PRODUCTS.items() if set(made) == by_kind.keys())
    lower = by_kind.get(Kind.ABUTMENT, pieces[0])
    fdi = int(lower.tooth) if lower.tooth else None
    values: dict[str, Any] = {}
    for kind, item in by_kind.items():
        asked = (*ASKED_OF[kind], *(LABEL if len(pieces) == 1 else ()))
        values |= {name: getattr(item, name) for name in asked}
        values |= {material_field(kind): item.material, shade_field(kind): item.shade}
    values["engaging"] = "" if values.get("engaging", True) else "no"
    values["contacts"] = "" if values.get("contacts") == "normal" else values.get("contacts", "")
    if values.get("retention") and not (Kind.SCREW_CROWN in by_kind and values["retention"] == "angled_screw"):
        values["retention"] = ""
    where = {"chart": str(fdi) if fdi else "", "tooth": teeth.sign(fdi, practice.notation) if fdi else ""}
    return {**values, **where, "notation": practice.notation, "product": product}
