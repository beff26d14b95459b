"""The first pages of all roles: what none of them shows, and what they cost."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from labqueue.base.models import User
from labqueue.base.roles import Role
from orders.hold import hold
from orders.models import Case
from tests import cast
from tests.orders import build as orders
from tests.orders.crowd import copies
from tests.orders.talk.build import asked_case
from tests.production import build as floor
from tests.shipping import build as shipping
from tests.top.firstpage import PEOPLE, browser, foresee, page

pytestmark = pytest.mark.django_db


def test_nobody_sees_a_first_page_without_signing_in() -> None:
    assert Client().get("/")["Location"] == "/sign-in?next=/"


def test_the_first_page_only_reads() -> None:
    assert browser(cast.manager()).post("/").status_code == 405


@pytest.mark.parametrize("role", list(Role))
def test_in_an_empty_house_each_page_says_what_will_appear(role: Role) -> None:
    html = page(PEOPLE[role]())
    assert html.count("<h1>") == 1
    assert 'class="empty"' in html
    assert "<tbody></tbody>" not in html
    assert '<dl class="tiles"></dl>' not in html


def test_no_page_of_the_laboratory_shows_a_case_that_was_never_signed() -> None:
    number = orders.draft_case().number
    assert [role for role, person in PEOPLE.items() if role != Role.PRACTICE and number in page(person())] == []


@pytest.mark.parametrize("role", list(Role))
def test_a_page_costs_the_same_however_many_cases(role: Role) -> None:
    user = PEOPLE[role]()
    several = [
        foresee(orders.draft_case(), 0.3),
        foresee(orders.signed_case(), 0.3),
        foresee(orders.accepted_case(), 0.3),
        foresee(hold(cast.manager(), orders.accepted_case(), "Bite record missing"), 0.3),
        asked_case(ago=timedelta(days=3))[0],
        foresee(floor.released_case(), 0.3),
        shipping.packed().case,
        shipping.shipped().case,
    ]
    for started in floor.released_case().work_items.all():
        floor.send(started, "intake")
    first = queries(user)
    for number, case in enumerate(several[1:]):
        copies(Case.objects.get(pk=case.pk), 40, 9_000_000 + number * 1000)
    for number in range(2):
        floor.send(floor.piece(floor.released_case(patient_ref=f"Q-{number}")), "intake")
        shipping.packed()
        asked_case(ago=timedelta(days=3), patient_ref=f"R-{number}")
    assert queries(user) == first <= 16


def queries(user: User) -> int:
    """How many queries the first page costs."""
    client = browser(user)
    with CaptureQueriesContext(
        connection,
    ) as found:
        client.get("/")
    return len(found)
