"""What a new order begins with: how things come, as on the practice's last order; else, what an earlier case says."""

import re
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from orders.models import Case, Evaluation
from orders.models.treatment import JUDGED
from tests import cast
from tests.orders import build
from tests.orders.test_case_pages import text

pytestmark = pytest.mark.django_db


@pytest.fixture
def assistant(client: Client) -> Client:
    """A browser of the practice's assistant."""
    client.force_login(cast.assistant())
    return client


def opened(client: Client, address: str = "/cases/new") -> Any:
    """The sheet of the form as it is opened."""
    return client.get(address).context["sheet"]


def shown(sheet: Any, *names: str) -> list[Any]:
    """What the fields of the order show."""
    return [sheet.order[name].value() for name in names]


def test_how_it_comes_is_as_on_the_last_order_that_was_signed(assistant: Client) -> None:
    build.signed_case(patient_ref="K-1", impression="closed_tray", disinfected_with="Alcohol")
    build.signed_case(patient_ref="K-2")
    build.draft_case(patient_ref="K-3", opposing="model")
    sheet = opened(assistant)
    assert shown(sheet, "impression", "analog", "opposing", "bite") == [
        "open_tray",
        "laboratory",
        "impression",
        "record",
    ]
    assert sheet.comes_as_usual == "Impression, open tray, disinfected with Peracetic acid"
    assert shown(sheet, "disinfected_with", "disinfected_minutes") == ["Peracetic acid", None], "said of each parcel"


def test_what_is_of_one_patient_or_one_parcel_is_not_taken_over(assistant: Client) -> None:
    build.signed_case()
    sheet = opened(assistant)
    assert shown(sheet, "patient_ref", "stage", "allergy", "seat_day", "note") == ["", "", "", None, ""]
    assert not sheet.order["enclosed"].value()


def test_another_practices_orders_say_nothing(assistant: Client) -> None:
    build.signed_case(cast.prescriber("southgate"))
    sheet = opened(assistant)
    assert shown(sheet, "impression", "disinfected_with") == ["", ""]
    assert sheet.comes_as_usual == ""


def test_it_is_open_while_something_of_it_is_to_be_said(assistant: Client) -> None:
    build.signed_case(impression="scan", scanned_on=None, enclosed=[], items=[build.abutment(), build.crown()])
    assert opened(assistant).comes_as_usual == "", "the day of this scan"
    page = text(assistant.get("/cases/new"))
    assert '<details class="more" open><summary>Impression or scan, opposing arch, bite, parcel</summary>' in page


def test_an_order_like_another_is_of_no_patient(assistant: Client) -> None:
    case = build.signed_case()
    sheet = opened(assistant, f"/cases/new?like={case.number}")
    assert shown(sheet, "patient_ref", "origin", "relation") == ["", "", ""]
    (tooth,) = sheet.teeth.forms
    assert [tooth[name].value() for name in ("tooth", "chart", "system", "crown_material")] == [
        *("", ""),
        *(build.SYSTEM, "zirconia_4y"),
    ]


def test_a_remake_carries_its_case_and_asks_why(assistant: Client) -> None:
    case = build.shipped_case()
    answer = assistant.get(f"/cases/new?remake_of={case.number}")
    sheet = answer.context["sheet"]
    assert shown(sheet, "patient_ref", "origin", "relation") == ["K-2041", case.number, "remake"]
    page = text(answer)
    assert f"Order a remake of case {case.number}" in page
    assert 'name="cause"' in page


def folds(page: str) -> list[str]:
    """The lines over what is folded, as they are read."""
    lines = [one.split("</summary>")[0] for one in page.split("<summary>")[1:]]
    return [re.sub(r"<[^>]+>", "", line) for line in lines]


def test_a_final_says_over_its_folds_what_was_carried_into_them(assistant: Client) -> None:
    piece = build.screw_crown(material="pmma", chimney=Decimal("4.8"), angle=0, texture="light")
    case = build.shipped_case(stage="provisional", items=[piece], guidance="canine")
    judged = {**dict.fromkeys(JUDGED, "ok"), "length": "change"}
    said = {"facial": "ok", "happy": True, "decision": "final", "changes": "Incisal edge shorter."}
    Evaluation.objects.create(case=case, at=timezone.now(), by=cast.prescriber(), **{**judged, **said})
    tooth, _, wishes = folds(text(assistant.get(f"/cases/new?final_of={case.number}")))[-3:]
    assert tooth.startswith("More wishes for this tooth")
    assert "Emergence profile: Copy the provisional" in tooth
    assert "Chimney of the base, mm" in tooth
    assert "Channel angle, degrees" in tooth, "0 is said"
    assert "Texture: Light" in tooth
    assert wishes.startswith("Jaw, approval, delivery, rush, note Guidance of the jaw: Canine")
    assert "Note to the laboratory" in wishes
    assert "Rush" not in wishes


def test_over_folds_with_nothing_in_them_nothing_is_said(assistant: Client) -> None:
    lines = folds(text(assistant.get("/cases/new")))
    assert lines[0] == "More wishes for this tooth"
    assert lines[-1] == "Jaw, approval, delivery, rush, note"


@pytest.mark.parametrize("way", ["final_of", "remake_of", "adjustment_of", "like"])
def test_another_practices_case_is_not_there(assistant: Client, way: str) -> None:
    case = build.shipped_case(cast.prescriber("southgate"))
    assert assistant.get(f"/cases/new?{way}={case.number}").status_code == 404
    assert Case.objects.count() == 1


def test_what_was_never_signed_cannot_be_followed(assistant: Client) -> None:
    case = build.draft_case()
    answer = assistant.get(f"/cases/new?like={case.number}")
    assert answer.status_code == 409
    assert "was never signed" in text(answer)
