"""Whatever the form accepts the interface accepts, and the reverse; and both write the same."""

import json
from typing import Any

import pytest
from django.test import Client
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from labqueue.base.api import issue_token
from orders import choices, teeth
from orders.facts import ITEM_COLUMNS
from orders.form.order import ASKED as ASKED_OF_ORDER
from orders.form.tooth import ASKED, PRODUCTS
from orders.materials import Connection, Kind, Material, Retention
from orders.models import Case, Item, Prescription
from tests import cast

JUNK = st.sampled_from(["", "x", "“", "K 1", "0", "-1", "nan", "1e9", "zirconia", "  N2  ", "ß" * 60])
LENGTHS = st.sampled_from([None, "4.3", "3.50", "4.8", "5", "3", "99", "0.333", "-3.2"])
WORDS: dict[str, Any] = {
    "level": choices.Level,
    "emergence": choices.Emergence,
    "stump": choices.Stump,
    "occlusion": choices.Occlusion,
    "texture": choices.Texture,
    "lustre": choices.Lustre,
    "base": choices.Base,
    "impression": choices.Impression,
    "analog": choices.Analog,
    "opposing": choices.Opposing,
    "bite": choices.Bite,
    "guidance": choices.Guidance,
    "bruxism": choices.Answer,
    "approval": choices.Wanted,
    "parts": choices.Parts,
    "delivery": choices.Delivery,
    "connection": Connection,
    "retention": Retention,
}
TEXTS = ("catalogue", "lot", "scan_body", "shade_guide", "shade_cervical", "shade_incisal", "stump_shade", "system")
OF_LENGTH = {name for name in ITEM_COLUMNS if name.startswith(("margin", "gingival"))} | {
    *("platform", "scan_platform", "chimney", "height", "implant_length"),
}


def value(name: str) -> st.SearchStrategy[Any]:
    """Something for that column, mostly what is said there."""
    if name in WORDS:
        return st.sampled_from(["", *WORDS[name].values])
    if name in OF_LENGTH:
        return LENGTHS
    if name in ("layered", "splinted", "tissue_recorded", "rush"):
        return st.booleans()
    if name == "engaging":
        return st.sampled_from([True, True, False])
    if name == "contacts":
        return st.sampled_from(choices.Contacts.values)
    if name in ("angle", "disinfected_minutes"):
        return st.sampled_from([None, 10, 15, 22, 40, 2000])
    if name == "allergens":
        return st.lists(st.sampled_from(choices.Allergen.values), max_size=2, unique=True)
    if name == "enclosed":
        return st.lists(st.sampled_from(choices.Enclosed.values), max_size=2, unique=True)
    if name == "scanned_on":
        return st.sampled_from([None, "2026-01-05", "2031-01-01"])
    if name == "allergy":
        return st.sampled_from(["none", "none", "yes", "unknown"])
    return st.one_of(st.sampled_from(["", "N2", "Averin C", "as its neighbour", "Borea", "N3"]), st.just("N1"), JUNK)


def material(stage: str, kind: str) -> st.SearchStrategy[str]:
    """Mostly the usual one."""
    usual = "pmma" if stage == "provisional" else "titanium" if kind == Kind.ABUTMENT else "zirconia_4y"
    return st.one_of(st.just(usual), st.just(usual), st.just(usual), st.sampled_from(Material.values))


@st.composite
def orders(draw: st.DrawFn) -> dict[str, Any]:
    """An order as the interface takes it: one or two teeth, each with the pieces of one product."""
    items, stage = [], draw(st.sampled_from(["final", "provisional"]))
    for fdi in draw(st.lists(st.sampled_from(teeth.PERMANENT), min_size=1, max_size=2, unique=True)):
        notation = draw(st.sampled_from(teeth.Notation.values))
        for kind in PRODUCTS[draw(st.sampled_from(list(PRODUCTS)))][1]:
            some = draw(st.lists(st.sampled_from(ASKED[kind]), max_size=4, unique=True))
            said = {name: draw(value(name)) for name in some}
            said |= {"material": draw(material(stage, kind)), "shade": draw(value("shade"))}
            items.append({"kind": kind, "tooth": teeth.sign(fdi, notation), "notation": notation, **said})
    some = draw(st.lists(st.sampled_from([name for name in ASKED_OF_ORDER if name != "note"]), max_size=4, unique=True))
    once = {name: draw(value(name)) for name in some}
    if once.get("allergy") != "yes":
        # The form hides these then, and ignores them; the interface refuses or keeps what it is told.
        once = {name: said for name, said in once.items() if name not in ("allergens", "allergy_note")}
    reference = draw(st.sampled_from(["K-2041", "K-1", "K-2", "K-3", "k-7 ", "Anna", "1990-01-01", ""]))
    return {"patient_ref": reference, "stage": stage, "allergy": "none", "note": "", **once, "items": items}


def as_form(order: dict[str, Any]) -> dict[str, Any]:
    """The same order as the form sends it."""
    by_tooth: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for item in order["items"]:
        by_tooth.setdefault((item["tooth"], item["notation"]), []).append(item)
    sent: dict[str, Any] = {name: typed(name, said) for name, said in order.items() if name != "items"}
    sent |= {"items-TOTAL_FORMS": str(len(by_tooth)), "items-INITIAL_FORMS": "0"}
    for place, ((tooth, notation), items) in enumerate(by_tooth.items()):
        kinds = tuple(item["kind"] for item in items)
        product = next(code for code, (_, made) in PRODUCTS.items() if made == kinds)
        fields = {"tooth": tooth, "notation": notation, "product": product}
        for item in items:
            of = "abutment" if item["kind"] == Kind.ABUTMENT else "crown"
            own = {"material": f"{of}_material", "shade": "abutment_shade" if of == "abutment" else "shade"}
            said = {own.get(name, name): typed(name, what) for name, what in item.items() if name not in fields}
            fields |= {name: what for name, what in said.items() if name != "kind"}
        sent |= {f"items-{place}-{name}": what for name, what in fields.items()}
    return {name: what for name, what in sent.items() if what is not None}


def typed(name: str, said: Any) -> Any:
    """A value as a form sends it; None is not sent."""
    if name == "engaging":
        return "" if said else "no"
    if name == "contacts":
        return "" if said == "normal" else said
    if isinstance(said, bool):
        return "on" if said else None
    return "" if said is None else said if isinstance(said, list) else str(said)


def written(case: Case) -> tuple[Any, ...]:
    """Everything that was written of a case, but for numbers and instants."""
    apart = {"id", "case_id", "prescription_id", "created_at", "number"}
    draft = Prescription.objects.filter(case=case)
    rows = [*draft.values(), *Item.objects.filter(prescription__case=case).order_by("tooth", "kind").values()]
    plain = [{name: what for name, what in row.items() if name not in apart | {"line"}} for row in rows]
    return case.patient_ref, case.stage, case.seat_at, plain


@pytest.mark.django_db
@pytest.mark.once
@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(order=orders())
def test_form_and_interface_take_and_write_the_same(order: dict[str, Any], client: Client) -> None:
    person = cast.assistant()
    token = {"Authorization": f"Bearer {issue_token(person, 'test')}"}
    by_program = Client(headers=token).post("/api/v1/cases", json.dumps(order), content_type="application/json")
    client.force_login(person)
    by_form = client.post("/cases/new", as_form(order))
    assert (by_program.status_code, by_form.status_code) in {(201, 302), (422, 422), (400, 422)}, by_program.content
    event(f"answered {by_form.status_code}")
    if by_form.status_code == 302:
        one, other = Case.objects.order_by("-pk")[:2]
        assert written(one) == written(other)
