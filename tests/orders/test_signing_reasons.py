"""What is unusual is signed only with a reason: whose it is, what only a prescriber decides, and how it is asked."""

from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from labqueue.base.models import User
from orders import reasons, seal
from orders.facts import ReasonFacts
from orders.models import Case, Member, Reason
from orders.signoff import amend, sign
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused
from tests.orders.test_api import Program

pytestmark = pytest.mark.django_db

DEEP: dict[str, Any] = {"margin_facial": Decimal("-3.2")}
GRINDS: dict[str, Any] = {"items": [build.crown(material="zirconia_5y")], "bruxism": "yes"}
WHY = ReasonFacts("V12", "  Wanted for   its looks. ", "8", "universal")


def unusual(actor: User | None = None, **facts: Any) -> Case:
    """A draft of a translucent crown for a patient who grinds."""
    return build.draft_case(actor, **{**GRINDS, **facts})


def overridden(**facts: Any) -> Case:
    """A draft with a margin so deep that only a prescriber decides."""
    return build.draft_case(items=[build.abutment(**DEEP), build.crown()], **facts)


def written(case: Case) -> list[tuple[str, int, str, str]]:
    """The reasons of the case: rule, line, text and name."""
    rows = Reason.objects.filter(prescription__case=case).select_related("by")
    return [(one.rule, one.line, one.text, one.by.username) for one in rows]


def test_without_a_reason_nothing_is_signed() -> None:
    case, doctor = unusual(), cast.prescriber()
    with refused("items.0.material", "V12: Zirconia 5Y may break where the patient grinds."):
        sign(doctor, case)
    with refused("items.0.material", "is stronger. Give a short reason."):
        sign(doctor, case)


def test_the_reason_is_kept_under_the_name_of_who_signs() -> None:
    case = unusual()
    signed = sign(cast.prescriber(), case, reasons=[WHY])
    assert written(case) == [("V12", 1, "Wanted for its looks.", "doctor-northgate")]
    assert signed.reasons.get().frozen
    assert signed.hash == seal.seal(case, signed)


def test_a_reason_of_the_assistant_stays_the_assistants() -> None:
    case = unusual(reasons=[WHY])
    sign(cast.prescriber(), case)
    assert written(case) == [("V12", 1, "Wanted for its looks.", "assistant-northgate")]


def test_who_signs_may_say_it_better() -> None:
    case = unusual(reasons=[WHY])
    sign(cast.prescriber(), case, reasons=[ReasonFacts("V12", "Splint at night.", "11", "fdi")])
    assert written(case) == [("V12", 1, "Splint at night.", "doctor-northgate")]


def test_a_reason_for_another_tooth_does_not_count() -> None:
    case, doctor = unusual(), cast.prescriber()
    with refused("items.0.material", "Give a short reason."):
        sign(doctor, case, reasons=[ReasonFacts("V12", "Splint at night.", "12", "fdi")])


@pytest.mark.parametrize(
    ("reason", "field", "words"),
    [
        (ReasonFacts("V12", "ok", "11", "fdi"), "reasons.0.text", "in 3 to 200 characters"),
        (ReasonFacts("V12", "x" * 201, "11", "fdi"), "reasons.0.text", "in 3 to 200 characters"),
        (ReasonFacts("V12", "Splint at night.", "11"), "reasons.0.tooth", "in which notation"),
    ],
)
def test_a_reason_that_says_nothing(reason: ReasonFacts, field: str, words: str) -> None:
    case, doctor = unusual(), cast.prescriber()
    with refused(field, words):
        sign(doctor, case, reasons=[reason])


def test_a_reason_for_nothing_is_not_kept() -> None:
    case = build.draft_case()
    sign(cast.prescriber(), case, reasons=[WHY])
    assert written(case) == []


def test_only_a_prescriber_decides_an_override() -> None:
    case = overridden(reasons=[ReasonFacts("V09", "It was like this before.", "11", "fdi")])
    doctor = cast.prescriber()
    with refused("items.0.margin_facial", "A prescriber decides: give a short reason."):
        sign(doctor, case)


def test_a_prescriber_decides_by_signing_the_same_words() -> None:
    why = ReasonFacts("V09", "It was like this before.", "11", "fdi")
    case = overridden(reasons=[why])
    sign(cast.prescriber(), case, reasons=[why])
    assert written(case) == [("V09", 1, "It was like this before.", "doctor-northgate")]


def test_the_word_of_a_prescriber_holds_for_the_next_version_while_he_may_sign() -> None:
    case = overridden()
    sign(cast.prescriber(), case, reasons=[ReasonFacts("V09", "It was like this before.", "11", "fdi")])
    other = User.objects.create_user("doctor-two", password="doctor-two" * 2, role=cast.prescriber().role)
    Member.objects.create(user=other, practice=cast.practice(), may_sign=True, licence_number="D-2")
    amend(other, case)
    Member.objects.filter(user=cast.prescriber()).update(may_sign=False)
    with refused("items.0.margin_facial", "V09: "):
        sign(other, case)
    Member.objects.filter(user=cast.prescriber()).update(may_sign=True)
    assert sign(other, case).version == 2
    assert [name for *_, name in written(case)] == ["doctor-northgate"] * 2


def test_one_reason_answers_both_pieces_of_a_tooth() -> None:
    items = [build.abutment(material="zirconia_4y"), build.crown(material="zirconia_3y")]
    case = build.draft_case(items=items)
    sign(cast.prescriber(), case, reasons=[ReasonFacts("V04", "As the other side.", "11", "fdi")])
    assert [(rule, line) for rule, line, *_ in written(case)] == [("V04", 1), ("V04", 2)]


def test_a_program_sends_its_reasons_with_the_signature() -> None:
    case, doctor = unusual(), Program(cast.prescriber())
    answer = doctor.ask("POST", f"/{case.number}/sign", {})
    assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "/items/0/material")
    assert answer.json()["errors"][0]["message"].endswith("Give a short reason.")
    body = {"reasons": [{"rule": "V12", "tooth": "8", "notation": "universal", "text": "Splint at night."}]}
    signed = doctor.ask("POST", f"/{case.number}/sign", body).json()
    (reason,) = signed["prescription"]["reasons"]
    assert (reason["rule"], reason["line"], reason["text"]) == ("V12", 1, "Splint at night.")
    assert reason["by"] == cast.prescriber().shown_name


def browser(user: User) -> Client:
    """Somebody at a browser."""
    client = Client()
    client.force_login(user)
    return client


def test_the_page_asks_beside_the_signature() -> None:
    case, doctor = unusual(allergy="unknown"), browser(cast.prescriber())
    page = doctor.get(f"/cases/{case.number}").content.decode()
    assert page.count('name="reason-V12-11"') == page.count('name="reason-V17-0"') == 1
    assert "V12: Zirconia 5Y may break where the patient grinds." in page
    sent = {"reason-V12-11": "Splint at night.", "reason-V17-0": "Asked on Monday."}
    shown = doctor.post(f"/cases/{case.number}/sign", sent, follow=True).content.decode()
    assert "is signed" in shown
    assert "“Splint at night.”" in shown
    assert [(rule, line) for rule, line, *_ in written(case)] == [("V17", 0), ("V12", 1)]


def test_the_page_shows_what_the_assistant_wrote_to_who_signs_only() -> None:
    case = unusual(reasons=[WHY])
    assert 'value="Wanted for its looks."' in browser(cast.prescriber()).get(f"/cases/{case.number}").content.decode()
    assert "reason-V12" not in browser(cast.assistant()).get(f"/cases/{case.number}").content.decode()


def test_without_a_reason_the_page_says_which() -> None:
    case = unusual()
    answer = browser(cast.prescriber()).post(f"/cases/{case.number}/sign", {"reason-V12-11": " "})
    assert answer.status_code == 422
    assert "Give a short reason." in answer.content.decode()
    assert Case.objects.get().state == "draft"


def test_inputs_of_a_form_are_read_as_reasons() -> None:
    form = {"reason-V12-36": "So.", "reason-V17-0": "Asked.", "reason-V10-11": "  ", "reason": "x", "seen": "y"}
    assert reasons.sent(form) == [ReasonFacts("V12", "So.", "36", "fdi"), ReasonFacts("V17", "Asked.")]
