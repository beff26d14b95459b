"""The first page of a practice: what waits for it, what comes next, what was sent to it."""

from datetime import timedelta

import pytest
from django.utils import timezone

from orders.cancel import cancel
from orders.hold import hold
from orders.models import Case
from orders.signoff import amend
from tests import cast
from tests.orders import build as orders
from tests.production import build as floor
from tests.shipping import build as shipping
from tests.top.firstpage import browser, foresee, page, part

pytestmark = pytest.mark.django_db


def test_a_practice_sees_what_waits_for_its_signature() -> None:
    draft = orders.draft_case(patient_ref="A-1")
    changed = orders.signed_case(patient_ref="B-2")
    amend(cast.prescriber(), changed)
    orders.signed_case(patient_ref="C-3")
    waits = part(page(cast.assistant()), "drafts")
    assert f"{draft.number} , patient code A-1 , a new order" in waits
    assert f"{changed.number} , patient code B-2 , a change of what was signed" in waits
    assert "C-3" not in waits


def test_what_can_no_longer_be_signed_does_not_wait() -> None:
    cancel(cast.prescriber(), orders.draft_case())
    late = floor.released_case()
    amend(cast.prescriber(), late)
    Case.objects.filter(pk=late.pk).update(state="finished")
    assert part(page(cast.prescriber()), "drafts") == ""


def test_a_practice_sees_its_cases_by_appointment_with_their_risk() -> None:
    later, sooner = (orders.signed_case(patient_ref=f"A-{n}", seat_at=orders.seat_in(n)) for n in (30, 20))
    none = orders.signed_case(patient_ref="A-0", seat_at=None)
    foresee(sooner, 0.62)
    coming = part(page(cast.prescriber()), "coming")
    places = [coming.index(case.number) for case in (sooner, later, none)]
    assert places == sorted(places)
    assert "62 %" in coming
    assert "late likely" in coming
    assert "no forecast yet" in coming
    assert "Open cases (3)" in coming


def test_the_count_of_open_cases_is_that_of_the_list_behind_it() -> None:
    user = cast.prescriber()
    orders.draft_case()
    orders.signed_case()
    cancel(user, orders.signed_case(), "No longer wanted")
    assert "Open cases (2)" in page(user)
    assert len(browser(user).get("/cases").context["page"].object_list) == 2


def test_a_practice_sees_the_question_of_the_laboratory() -> None:
    case = orders.accepted_case()
    assert part(page(cast.prescriber()), "held") == ""
    hold(cast.manager(), case, "Bite record missing")
    assert "Bite record missing" in part(page(cast.prescriber()), "held")


def test_a_practice_comes_to_its_notices() -> None:
    assert 'href="/notices"' in page(cast.assistant())
    assert browser(cast.assistant()).get("/notices").status_code == 200


def test_a_practice_sees_what_was_sent_to_it() -> None:
    number = shipping.shipped().case.number
    html = page(cast.prescriber())
    assert number in part(html, "sent")
    assert number not in part(html, "coming")


def test_a_practice_sees_nothing_of_another() -> None:
    foreign = cast.prescriber("millpond")
    numbers = [
        orders.draft_case(foreign, patient_ref="QX-1").number,
        shipping.shipped(actor=foreign, patient_ref="QX-2").case.number,
        hold(cast.manager(), orders.accepted_case(foreign, patient_ref="QX-3"), "Bite record missing").number,
    ]
    html = page(cast.prescriber())
    assert [number for number in numbers if number in html] == []
    assert "QX-" not in html
    assert "Bite record" not in html
    assert all(number in page(foreign) for number in numbers)


def test_a_provisional_is_evaluated_after_its_trial() -> None:
    case = orders.shipped_case(stage="provisional", items=[orders.screw_crown(material="pmma")])
    then = timezone.now() - timedelta(days=22)
    Case.objects.filter(pk=case.pk).update(seat_at=then, shipped_at=then)
    waits = part(page(cast.assistant()), "to-evaluate")
    assert f"{case.number} , patient code" in waits
    assert "How did these provisionals do?" not in page(cast.assistant("southgate"))
