"""The list of cases, the page of a case, and its verbs as pages."""

from decimal import Decimal
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from labqueue.base.models import User
from orders import seal
from orders.hold import hold
from orders.intake import edit_draft
from orders.lifecycle import advance
from orders.models import Case, Outlook
from orders.signoff import amend
from tests import cast
from tests.orders import build

pytestmark = pytest.mark.django_db


def browser(user: User) -> Client:
    """A browser in which somebody is signed in."""
    client = Client()
    client.force_login(user)
    return client


def text(answer: Any) -> str:
    """The page, with every run of white space as one space."""
    return " ".join(answer.content.decode().split())


def listed(answer: Any) -> list[str]:
    """The numbers on a page of the list."""
    return [case.number for case in answer.context["page"]]


def test_a_practice_sees_its_own_by_appointment() -> None:
    late, none, soon = (build.signed_case(seat_at=at) for at in (build.seat_in(20), None, build.seat_in(12)))
    build.signed_case(cast.prescriber("southgate"))
    answer = browser(cast.assistant()).get("/cases")
    assert listed(answer) == [soon.number, late.number, none.number]


def test_the_laboratory_sees_all_by_the_day_they_leave() -> None:
    late = build.signed_case(cast.prescriber("southgate"), seat_at=build.seat_in(20))
    soon = build.signed_case(seat_at=build.seat_in(12))
    build.draft_case()
    answer = browser(cast.technician()).get("/cases")
    assert listed(answer) == [soon.number, late.number]
    assert "Southgate Dental" in text(answer)


@pytest.mark.parametrize(("state", "found"), [("open", 3), ("draft", 1), ("signed", 1), ("hold", 1), ("all", 4)])
def test_the_list_by_state(state: str, found: int) -> None:
    build.draft_case()
    build.signed_case()
    hold(cast.manager(), build.accepted_case(), "Which shade?")
    advance(build.signed_case(), "cancelled", verb="cancelled", actor=None)
    answer = browser(cast.assistant()).get("/cases", {"state": state})
    assert len(listed(answer)) == found


def test_an_unknown_state_is_refused() -> None:
    answer = browser(cast.assistant()).get("/cases", {"state": "asleep"})
    assert (answer.status_code, "is no state" in text(answer)) == (422, True)


def test_a_row_says_tooth_pieces_date_and_risk() -> None:
    case = build.signed_case()
    Outlook.objects.create(case=case, late=0.31, made_at=timezone.now())
    row = text(browser(cast.assistant()).get("/cases"))
    for words in ("upper right central incisor", "Universal, FDI 11", "Abutment, titanium alloy", "31 %", "K-2041"):
        assert words in row


def test_a_number_leads_to_its_case() -> None:
    case = build.signed_case()
    client = browser(cast.manager())
    assert client.get("/cases", {"number": f" {case.number} "}).headers["Location"] == f"/cases/{case.number}"
    assert client.get("/cases", {"number": "9999999"}).status_code == 404


def test_a_patient_reference_is_found_without_being_in_an_address() -> None:
    case, other = build.signed_case(patient_ref="K-7"), build.signed_case(patient_ref="K-8")
    build.signed_case(cast.prescriber("southgate"), patient_ref="K-7")
    client = browser(cast.assistant())
    answer = client.post("/cases", {"patient_ref": " k-7 "})
    assert (answer.status_code, listed(answer)) == (200, [case.number])
    assert other.number not in text(answer)
    assert "K-7" not in answer.request["PATH_INFO"] + answer.request["QUERY_STRING"]
    assert "No case found" in text(client.post("/cases", {"patient_ref": "K-9"}))


def test_a_row_has_the_patient_beside_the_teeth() -> None:
    build.signed_case(patient_ref="K-77", items=[build.abutment("30"), build.crown("30"), build.screw_crown("3")])
    page = text(browser(cast.assistant()).get("/cases"))
    start = page.index('data-label="Patient and work"')
    cell = page[start : page.index("</td>", start)]
    for words in (
        "K-77",
        "lower right first molar",
        "Universal, FDI 46",
        "upper right first molar",
        "Universal, FDI 16",
    ):
        assert words in cell
    assert page.count("K-77") == 1


def test_a_list_needs_as_many_queries_for_one_case_as_for_many() -> None:
    client, counts = browser(cast.manager()), []
    for _ in range(2):
        for _ in range(3):
            build.signed_case()
        with CaptureQueriesContext(connection) as queries:
            client.get("/cases")
        counts.append(len(queries))
    assert counts[0] == counts[1] <= 8


def test_a_draft_says_what_would_be_promised() -> None:
    with time_machine.travel("2031-03-05T15:00:00Z", tick=False):
        case = build.draft_case(seat_at=build.seat_in(4))
        page = text(browser(cast.prescriber()).get(f"/cases/{case.number}"))
    assert "Would leave" in page
    assert "Tight." in page
    assert "move the appointment to Tue 18 Mar or later" in page


def test_a_signed_case_says_who_signed_what() -> None:
    case = build.signed_case(note="Light contacts.")
    page = text(browser(cast.manager()).get(f"/cases/{case.number}"))
    assert case.current is not None
    for words in ("Final for patient K-2041", "signed by Doctor-northgate Test (licence D-1001)", "Light contacts."):
        assert words in page
    assert f'href="/cases/{case.number}/versions/1"' in page
    assert "Accept the case" in page


def test_a_warning_stays_on_the_case() -> None:
    case = build.signed_case(items=[build.crown("3", material="zirconia_5y")])
    assert "Zirconia 5Y is unusual for a final crown" in text(browser(cast.technician()).get(f"/cases/{case.number}"))


def test_instants_of_a_practice_elsewhere_are_in_both_zones() -> None:
    cast.practice("southgate", time_zone="Europe/Lisbon")
    with time_machine.travel("2031-03-05T15:00:00Z", tick=False):
        case = build.signed_case(cast.prescriber("southgate"), seat_at=build.seat_in(15))
        page = text(browser(cast.manager()).get(f"/cases/{case.number}"))
    assert "Wed 26 Mar, 14:00 (Wed 26 Mar, 18:00 at the practice, Europe/Lisbon)" in page


def test_a_change_is_shown_to_the_practice_only() -> None:
    case = build.signed_case()
    amend(cast.assistant(), case)
    edit_draft(cast.assistant(), case, **build.order(items=[build.abutment(), build.crown(shade="D2")]))
    practice, laboratory = (
        text(browser(who).get(f"/cases/{case.number}")) for who in (cast.assistant(), cast.manager())
    )
    assert f"crown on an abutment: shade {build.SHADE} → D2" in practice
    assert "change in preparation, not signed" in practice
    assert "D2" not in laboratory
    assert "The practice is preparing a change" in laboratory


def test_the_page_of_a_case_has_its_slots() -> None:
    case = build.signed_case()
    page = text(browser(cast.manager()).get(f"/cases/{case.number}"))
    for slot in ("floor", "outlook", "papers"):
        assert f'hx-get="/cases/{case.number}/{slot}"' in page
        assert f'<a href="/cases/{case.number}/{slot}">' in page


def test_a_draft_has_no_slots_of_the_floor() -> None:
    case = build.draft_case()
    page = text(browser(cast.assistant()).get(f"/cases/{case.number}"))
    assert f'hx-get="/cases/{case.number}/promise"' in page
    for slot in ("floor", "outlook", "papers", "implant"):
        assert f"/cases/{case.number}/{slot}" not in page


@pytest.mark.parametrize("path", ["", "/sign", "/amend", "/discard", "/cancel"])
def test_a_foreign_case_is_not_found(path: str) -> None:
    case, stranger = build.signed_case(), browser(cast.prescriber("southgate"))
    answer = stranger.post(f"/cases/{case.number}{path}") if path else stranger.get(f"/cases/{case.number}")
    assert answer.status_code == 404


def press(user: User, case: Case, verb: str, **sent: str) -> Any:
    """Press the button of a verb."""
    return browser(user).post(f"/cases/{case.number}/{verb}", sent, follow=True)


def test_the_buttons_from_draft_to_hold() -> None:
    case = build.draft_case()
    assert case.draft is not None
    assert "is signed" in text(press(cast.prescriber(), case, "sign", seen=seal.mark(case, case.draft)))
    assert "is accepted" in text(press(cast.manager(), case, "accept"))
    assert "Which shade?" in text(press(cast.technician(), case, "hold", reason="Which shade?"))
    assert "goes on" in text(press(cast.technician(), case, "resume"))
    assert "can be changed below" in text(press(cast.assistant(), case, "amend"))
    assert "stays as it was signed" in text(press(cast.assistant(), case, "discard"))
    assert "is cancelled" in text(press(cast.assistant(), case, "cancel", reason="No longer wanted"))
    case.refresh_from_db()
    assert case.state == "cancelled"


def test_a_refused_verb_shows_its_sentence_and_changes_nothing() -> None:
    case = build.accepted_case()
    answer = press(cast.manager(), case, "accept")
    assert (answer.status_code, "cannot become accepted" in text(answer)) == (409, True)
    case.refresh_from_db()
    assert case.state == "accepted"


def test_signing_something_else_than_was_read_is_refused() -> None:
    case = build.draft_case()
    answer = press(cast.prescriber(), case, "sign", seen="0" * 64)
    assert (answer.status_code, "changed after you read it" in text(answer)) == (409, True)


@pytest.mark.parametrize("verb", ["sign", "amend", "discard", "cancel"])
def test_a_verb_is_never_a_link(verb: str) -> None:
    case = build.signed_case()
    assert browser(cast.prescriber()).get(f"/cases/{case.number}/{verb}").status_code == 405


def test_all_that_was_said_is_read_where_it_is_signed() -> None:
    items = [build.abutment(lot="L-77", margin_facial=Decimal("-0.8"), emergence="expand"), build.crown(stump="dark")]
    case = build.draft_case(items=items, bruxism="yes", allergy="yes", allergens=["nickel"], contact="Extension 4")
    page = text(browser(cast.prescriber()).get(f"/cases/{case.number}"))
    for label, words in {
        "Lot": "L-77",
        "Margin facial": "-0.8 mm",
        "Emergence": "Expand the tissue",
        "Stump": "Dark",
        "Bruxism": "Yes",
        "Allergens": "nickel",
        "Contact": "Extension 4",
        "Disinfected with": "Peracetic acid",
        "Impression": "Impression, open tray",
    }.items():
        assert f"<dt>{label}</dt><dd>{words}</dd>" in page


def test_a_draft_says_what_it_will_stand_still_for() -> None:
    case = build.draft_case(items=[build.abutment(), build.crown(shade="")])
    page = text(browser(cast.prescriber()).get(f"/cases/{case.number}"))
    assert "Signed like this, the case stands still until this is answered" in page
    assert "Tooth 8 Universal, upper right central incisor: Give the shade of the crown" in page
    assert "stands still until" not in text(browser(cast.prescriber()).get(f"/cases/{build.draft_case().number}"))
