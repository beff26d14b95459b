"""What one person does not know of the other: two who edit one draft, a change that came too late, a scanned code."""

import pytest
from django.test import Client

from labqueue.base import codes
from labqueue.base.errors import Conflict
from labqueue.base.models import User
from orders import seal
from orders.intake import draft_of, edit_draft
from orders.models import Case
from orders.signoff import amend
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused

pytestmark = pytest.mark.django_db


def client(user: User) -> Client:
    """A browser in which that person is signed in."""
    browser = Client()
    browser.force_login(user)
    return browser


def test_who_edits_what_was_opened_saves_it() -> None:
    case = build.draft_case()
    seen = seal.mark(case, draft_of(case))
    edit_draft(cast.assistant(), case, **build.order(note="Longer"), seen=seen)
    assert draft_of(Case.objects.get()).note == "Longer"


def test_the_second_of_two_editors_is_told_and_overwrites_nothing() -> None:
    case = build.draft_case()
    seen = seal.mark(case, draft_of(case))
    edit_draft(cast.assistant(), case, **build.order(note="Longer"), seen=seen)
    with refused("", "was changed after you read it", Conflict):
        edit_draft(cast.prescriber(), case, **build.order(note="Shorter"), seen=seen)
    assert draft_of(Case.objects.get()).note == "Longer"


def test_the_form_sends_along_what_it_was_opened_with() -> None:
    case = build.draft_case()
    html = client(cast.assistant()).get(f"/cases/{case.number}/prescription").content.decode()
    assert f'name="seen" value="{seal.mark(case, draft_of(case))}"' in html


def test_a_change_that_came_too_late_is_not_shown_as_the_case() -> None:
    case = build.accepted_case()
    draft = amend(cast.prescriber(), case)
    draft.items.filter(kind="crown").update(shade="D3")
    Case.objects.filter(pk=case.pk).update(state=Case.State.SHIPPED)
    html = client(cast.prescriber()).get(f"/cases/{case.number}").content.decode()
    assert "A change is being prepared" not in html
    assert "N2" in html.split("What you can do now")[0].split("Versions")[0]


@pytest.mark.parametrize("piece", ["00", "01"])
def test_a_scanned_code_opens_its_case(piece: str) -> None:
    case = build.signed_case()
    code = codes.with_check(f"{case.number}{piece}")
    answer = client(cast.manager()).get("/cases", {"number": code})
    assert answer.headers["Location"] == f"/cases/{case.number}"
