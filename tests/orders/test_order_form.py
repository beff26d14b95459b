"""The order form: what it sends, what it refuses, and what it shows of a draft."""

from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.test import Client
from django.utils import timezone

from orders import seal, teeth
from orders.materials import Material
from orders.models import Case, Item
from orders.signoff import amend
from tests import cast
from tests.orders import build

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(client: Client) -> Client:
    """A browser of the practice's assistant."""
    client.force_login(cast.assistant())
    return client


def tooth(index: int, **facts: str) -> dict[str, str]:
    """What the form sends for one tooth: abutment and crown."""
    given = {
        "tooth": "8",
        "notation": "universal",
        "product": "abutment_crown",
        "abutment_material": "titanium",
        "abutment_shade": "",
        "crown_material": "zirconia_4y",
        "shade": "N2",
        "retention": "",
        "system": "Averin C",
        "connection": "conical",
        "platform": "4.3",
    }
    return {f"items-{index}-{name}": value for name, value in {**given, **facts}.items()}


def sheet(*teeth: dict[str, str], initial: int = 0, **facts: Any) -> dict[str, str]:
    """What the form sends for a whole order."""
    seat = build.seat_in(15).astimezone(ZoneInfo("America/New_York"))
    day = {"seat_day": f"{seat:%Y-%m-%d}", "seat_time": f"{seat:%H:%M}"}
    order = {"patient_ref": "K-2041", "stage": "final", "allergy": "none", "note": "", **day, **facts}
    forms = {"items-TOTAL_FORMS": str(len(teeth) or 1), "items-INITIAL_FORMS": str(initial)}
    sent = {name: value for one in teeth or (tooth(0),) for name, value in one.items()}
    return {**order, **forms, **sent}


def errors(answer: Any) -> dict[str, list[str]]:
    """All faults of the form by field; those of a tooth with its place."""
    found = answer.context["sheet"]
    places = {f"{place}.{name}": texts for place, form in enumerate(found.teeth) for name, texts in form.errors.items()}
    return {**found.order.errors, **places}


def pieces(case: Case) -> list[dict[str, Any]]:
    """The pieces of the draft, without those columns that say what is usual."""
    usual = {name: seal.default(Item(), name) for name in seal.WHERE_SAID}
    assert case.draft is not None
    left_out = ("id", "prescription_id", "frozen", "stage")
    rows = [{k: v for k, v in row.items() if k not in left_out} for row in case.draft.items.values()]
    return [{k: v for k, v in row.items() if k not in usual or usual[k] != v} for row in rows]


def test_the_notation_of_the_practice_is_chosen_already(browser: Client) -> None:
    form = browser.get("/cases/new").context["sheet"].teeth[0]
    assert form["notation"].value() == "universal"


def test_an_abutment_with_its_crown(browser: Client) -> None:
    answer = browser.post("/cases/new", sheet())
    case = Case.objects.get()
    assert (answer.status_code, answer.headers["Location"]) == (302, f"/cases/{case.number}")
    assert (case.patient_ref, case.stage, case.seat_at) == ("K-2041", "final", build.seat_in(15))
    usual = {"tooth": 11, "layered": False}
    bare = {"system": "", "connection": "", "platform": None}
    implant = {"system": "Averin C", "connection": "conical", "platform": 430}
    assert pieces(case) == [
        {**usual, **implant, "line": 1, "kind": "abutment", "material": "titanium", "shade": "", "retention": "screw"},
        {**usual, **bare, "line": 2, "kind": "crown", "material": "zirconia_4y", "shade": "N2", "retention": "cement"},
    ]


@pytest.mark.parametrize(
    ("product", "facts", "kind", "retention"),
    [
        ("abutment", {"crown_material": "", "shade": ""}, "abutment", "screw"),
        ("crown", {"abutment_material": "", "system": "", "connection": "", "platform": ""}, "crown", "cement"),
        ("screw_crown", {"abutment_material": ""}, "screw_crown", "screw"),
        ("screw_crown", {"abutment_material": "", "retention": "angled_screw"}, "screw_crown", "angled_screw"),
    ],
)
def test_each_product_alone(browser: Client, product: str, facts: dict[str, str], kind: str, retention: str) -> None:
    assert browser.post("/cases/new", sheet(tooth(0, product=product, **facts))).status_code == 302
    (piece,) = pieces(Case.objects.get())
    assert (piece["kind"], piece["retention"]) == (kind, retention)


def test_without_appointment(browser: Client) -> None:
    assert browser.post("/cases/new", sheet(seat_day="", seat_time="")).status_code == 302
    assert Case.objects.get().seat_at is None


def test_an_appointment_is_by_the_practices_clock(client: Client) -> None:
    cast.practice("southgate", time_zone="Europe/Lisbon")
    with time_machine.travel("2031-02-03T15:00:00Z", tick=False):
        client.force_login(cast.assistant("southgate"))
        assert "Europe/Lisbon" in client.get("/cases/new").content.decode()
        client.post("/cases/new", sheet(seat_day="2031-03-05", seat_time="14:00"))
    seat_at = Case.objects.get().seat_at
    assert seat_at is not None
    assert seat_at.isoformat() == "2031-03-05T14:00:00+00:00"


@pytest.mark.parametrize(
    ("facts", "field", "words"),
    [
        ({"tooth": ""}, "tooth", "Give the tooth"),
        ({"notation": ""}, "notation", "A bare number can mean two teeth"),
        ({"tooth": "33"}, "tooth", "no permanent tooth in Universal"),
        ({"product": ""}, "product", "Choose what is made"),
        ({"product": "bridge"}, "product", "not one of the available choices"),
        ({"abutment_material": ""}, "abutment_material", "Choose the material"),
        ({"abutment_material": "pmma"}, "abutment_material", "PMMA is not possible for a final abutment"),
        ({"crown_material": "pmma"}, "crown_material", "PMMA is not possible for a final crown"),
        ({"abutment_shade": "s" * 21}, "abutment_shade", "more than 20 characters"),
        ({"retention": "screw"}, "retention", "order a one-piece crown"),
        ({"chart": "21"}, "tooth", "The chart says another tooth"),
        ({"scan_platform": "3.5"}, "scan_platform", "V06"),
        ({"angle": "many"}, "angle", "Enter a whole number"),
        ({"platform": "wide"}, "platform", "Enter a number"),
        ({"product": "crown"}, "abutment_material", "This product has no abutment"),
        ({"product": "abutment"}, "crown_material", "This product has no crown"),
        ({"product": "abutment"}, "shade", "This product has no crown"),
    ],
)
def test_a_fault_of_a_tooth_is_shown_at_its_field(
    browser: Client, facts: dict[str, str], field: str, words: str
) -> None:
    answer = browser.post("/cases/new", sheet(tooth(0, **facts)))
    assert answer.status_code == 422
    assert any(words in text for text in errors(answer)[f"0.{field}"])
    assert not Case.objects.exists()


@pytest.mark.parametrize(
    ("facts", "field", "words"),
    [
        ({"patient_ref": ""}, "patient_ref", "Give a code of your own"),
        ({"patient_ref": "Anna Smith"}, "patient_ref", "Never a name"),
        ({"stage": ""}, "stage", "provisional or final"),
        ({"allergy": ""}, "allergy", "none, unknown or yes"),
        ({"allergy": "yes"}, "allergens", "what the patient does not bear"),
        ({"disinfected_minutes": "0"}, "disinfected_minutes", "from 1 to"),
        ({"seat_time": ""}, "seat_time", "Give the time"),
        ({"seat_day": ""}, "seat_day", "Give the day"),
        ({"seat_day": f"{timezone.now() - timedelta(days=3):%Y-%m-%d}"}, "seat_day", "has passed"),
        ({"seat_day": "2020-03-05"}, "seat_day", "Give an appointment between now and"),
        ({"seat_day": "0001-01-01"}, "seat_day", "Give an appointment between now and"),
        ({"seat_day": "9999-12-31", "seat_time": "23:59"}, "seat_day", "Give an appointment between now and"),
        ({"seat_day": "soon"}, "seat_day", "valid date"),
        ({"note": "n" * 501}, "note", "500 is the most"),
    ],
)
def test_a_fault_of_the_order_is_shown_at_its_field(
    browser: Client, facts: dict[str, Any], field: str, words: str
) -> None:
    answer = browser.post("/cases/new", sheet(**facts))
    assert answer.status_code == 422
    assert any(words in text for text in errors(answer)[field])
    assert not Case.objects.exists()


@pytest.mark.parametrize("allergy", ["none", "unknown"])
def test_what_is_ticked_of_an_allergy_counts_only_where_there_is_one(browser: Client, allergy: str) -> None:
    """The ticks are hidden once another answer is chosen, and sent with the form nevertheless."""
    answer = browser.post("/cases/new", sheet(allergy=allergy, allergens=["titanium"], allergy_note="Rash."))
    assert answer.status_code == 302
    draft = Case.objects.get().draft
    assert draft is not None
    assert (draft.allergy, draft.allergens, draft.allergy_note) == (allergy, [], "")


def test_what_is_ticked_of_an_allergy_is_kept(browser: Client) -> None:
    sent = sheet(tooth(0, abutment_material="zirconia_3y", base="one_piece"), allergy="yes", allergens=["nickel"])
    assert browser.post("/cases/new", {**sent, "allergy_note": "Rash."}).status_code == 302
    draft = Case.objects.get().draft
    assert draft is not None
    assert (draft.allergy, draft.allergens, draft.allergy_note) == ("yes", ["nickel"], "Rash.")


@pytest.mark.parametrize("facts", [{"abutment_material": "", "crown_material": ""}, {"notation": ""}])
def test_no_codes_are_said_to_people(browser: Client, facts: dict[str, str]) -> None:
    answer = browser.post("/cases/new", sheet(tooth(0, **facts)))
    assert answer.status_code == 422
    said = " ".join(text for texts in errors(answer).values() for text in texts)
    assert said.startswith("Choose the ")
    assert not [code for code in (*Material.values, *teeth.Notation.values) if code in said]
    assert "zirconia_3y," not in answer.content.decode()


def test_a_remake_without_a_cause_names_no_codes(browser: Client) -> None:
    case = build.shipped_case()
    sent = sheet(relation="remake", origin=case.number, cause="")
    answer = browser.post(f"/cases/new?remake_of={case.number}", sent)
    assert errors(answer)["cause"] == ["Say why it is made again."]


def test_a_length_may_have_a_comma_before_its_decimals(browser: Client) -> None:
    assert browser.post("/cases/new", sheet(tooth(0, platform="4,3", margin_facial="-0,5"))).status_code == 302
    lower = pieces(Case.objects.get())[0]
    assert (lower["platform"], lower["margin_facial"]) == (430, -50)


@pytest.mark.parametrize("platform", ["4,3,1", "4,3.1", ",", "4,333"])
def test_what_is_no_length_with_a_comma_either(browser: Client, platform: str) -> None:
    answer = browser.post("/cases/new", sheet(tooth(0, platform=platform)))
    assert (answer.status_code, list(errors(answer))) == (422, ["0.platform"])
    assert f'value="{platform}"' in answer.content.decode(), "as it was typed"
    assert not Case.objects.exists()


def test_what_was_typed_is_still_there_after_a_refusal(browser: Client) -> None:
    answer = browser.post("/cases/new", sheet(tooth(0, crown_material=""), note="Light contacts."))
    assert 'value="K-2041"' in answer.content.decode()
    assert "Light contacts." in answer.content.decode()


def test_two_pieces_with_the_same_fault_say_it_once(browser: Client) -> None:
    answer = browser.post("/cases/new", sheet(tooth(0, tooth="33")))
    assert len(errors(answer)["0.tooth"]) == 1


def test_another_tooth_is_added_on_the_draft(browser: Client) -> None:
    first = browser.post("/cases/new", {**sheet(), "another": "1"})
    case = Case.objects.get()
    assert first.headers["Location"] == f"/cases/{case.number}/prescription?another=1#another"
    form = browser.get(first.headers["Location"]).context["sheet"]
    assert [one["tooth"].value() for one in form.teeth] == ["8", None]
    assert form.teeth[1]["notation"].value() == "universal"
    second = tooth(1, tooth="30", product="screw_crown", abutment_material="")
    browser.post(f"/cases/{case.number}/prescription", sheet(tooth(0), second, initial=1))
    assert [(piece["tooth"], piece["kind"]) for piece in pieces(case)] == [
        *((11, "abutment"), (11, "crown"), (46, "screw_crown")),
    ]


def test_a_tooth_that_was_left_empty_is_no_fault(browser: Client) -> None:
    case = build.draft_case()
    empty = dict.fromkeys(tooth(1), "") | {"items-1-notation": "universal"}
    answer = browser.post(f"/cases/{case.number}/prescription", sheet(tooth(0), empty, initial=1))
    assert answer.status_code == 302
    assert len(pieces(case)) == 2


def test_a_tooth_is_taken_out(browser: Client) -> None:
    case = build.draft_case(items=[build.screw_crown("30"), build.abutment(), build.crown()])
    gone = tooth(0, tooth="30", product="screw_crown", abutment_material="") | {"items-0-DELETE": "on"}
    browser.post(f"/cases/{case.number}/prescription", sheet(gone, tooth(1), initial=2))
    assert {piece["tooth"] for piece in pieces(case)} == {11}


def test_the_last_tooth_cannot_be_taken_out(browser: Client) -> None:
    case = build.draft_case()
    answer = browser.post(f"/cases/{case.number}/prescription", sheet(tooth(0) | {"items-0-DELETE": "on"}, initial=1))
    beyond = "and at most 8. Open another case for what is beyond."
    assert (answer.status_code, errors(answer)) == (422, {"__all__": [f"Order at least one piece {beyond}"]})
    assert len(pieces(case)) == 2


@pytest.mark.parametrize(
    "items",
    [
        [build.abutment(), build.crown()],
        [
            build.crown("30", layered=True, material="zirconia_3y"),
            build.abutment("30", material="zirconia_3y", shade="N1"),
        ],
        [build.crown(system="Averin C", connection="morse")],
        [build.abutment("UR3", notation="palmer")],
        [build.screw_crown("3", retention="angled_screw"), build.screw_crown("14"), build.abutment(), build.crown()],
    ],
)
def test_a_draft_that_is_shown_and_saved_stays_as_it_is(browser: Client, items: list[Any]) -> None:
    case = build.draft_case(items=items, note="Soft.")
    before = sorted(pieces(case), key=lambda piece: (piece["tooth"], piece["kind"]))
    shown = browser.get(f"/cases/{case.number}/prescription").context["sheet"]
    sent = {field.html_name: field.value() for form in [shown.order, *shown.teeth] for field in form}
    sent |= {field.html_name: field.value() for field in shown.teeth.management_form}
    kept = {name: value for name, value in sent.items() if value not in (None, False)}
    assert browser.post(f"/cases/{case.number}/prescription", kept).status_code == 302
    after = sorted(pieces(case), key=lambda piece: (piece["tooth"], piece["kind"]))
    assert [{**piece, "line": 0} for piece in after] == [{**piece, "line": 0} for piece in before]


def test_of_a_signed_case_patient_and_stage_are_not_asked(browser: Client) -> None:
    case = build.signed_case()
    amend(cast.assistant(), case)
    form = browser.get(f"/cases/{case.number}/prescription").context["sheet"].order
    assert (form.fields["patient_ref"].disabled, form.fields["stage"].disabled) == (True, True)
    answer = browser.post(
        f"/cases/{case.number}/prescription", sheet(initial=1, patient_ref="B-1", stage="provisional")
    )
    assert answer.status_code == 302
    case.refresh_from_db()
    assert (case.patient_ref, case.stage) == ("K-2041", "final")


def test_systems_that_were_written_before_are_offered(browser: Client) -> None:
    build.draft_case(items=[build.screw_crown(system="Tolbeck H")])
    build.draft_case(cast.assistant("southgate"), items=[build.screw_crown(system="Ferrin O")])
    text = browser.get("/cases/new").content.decode()
    assert '<option value="Tolbeck H">' in text
    assert "Ferrin O" not in text


def test_without_a_draft_there_is_no_form(browser: Client) -> None:
    case = build.signed_case()
    assert browser.get(f"/cases/{case.number}/prescription").status_code == 409


def test_a_foreign_draft_is_not_found(browser: Client) -> None:
    case = build.draft_case(cast.assistant("southgate"))
    assert browser.post(f"/cases/{case.number}/prescription", sheet()).status_code == 404


def test_a_form_that_is_tampered_with_is_refused(browser: Client) -> None:
    answer = browser.post("/cases/new", {"patient_ref": "K-1"})
    assert answer.status_code == 422
    assert not Case.objects.exists()
