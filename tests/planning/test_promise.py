"""The earliest appointment that the floor can promise to a draft."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.utils import timezone

from labqueue.base import outbox
from labqueue.base.errors import Conflict, Forbidden
from labqueue.base.models import OutboxRow
from labqueue.planning import forecast, promise
from labqueue.planning.floor import look
from labqueue.planning.models import Promise
from labqueue.production.models import Route
from orders import due
from orders.intake import edit_draft
from orders.models import Case
from orders.signoff import amend, sign
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused
from tests.orders.test_api import Program
from tests.production.build import released_case

pytestmark = pytest.mark.django_db
NOW = "2031-03-05T15:00:00Z"  # Wednesday, 10:00 in the laboratory


@pytest.fixture(autouse=True)
def wednesday(settings: Any) -> Iterator[None]:
    """A fixed instant, and as many futures as a test needs."""
    settings.PLANNING_REPLICATIONS = 200
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def draft() -> Case:
    """An order on a floor where others are made."""
    released_case(patient_ref="K-1")
    return build.draft_case()


def computed(case: Case) -> Promise:
    """What is computed of its draft, kept."""
    assert case.draft is not None
    row = promise.compute(case, case.draft, timezone.now())
    promise.publish(row)
    return row


def page(case: Case, who: Any = None) -> str:
    """The part of the case's page."""
    client = Client()
    client.force_login(who or cast.assistant())
    answer = client.get(f"/cases/{case.number}/promise", headers={"HX-Request": "true"})
    return " ".join(answer.content.decode().split())


def test_it_is_the_day_after_95_of_100_futures_and_the_usual_way(draft: Case) -> None:
    row = computed(draft)
    assert row.p50 is not None
    assert row.p80 is not None
    assert row.p95 is not None
    assert timezone.now() < row.p50 <= row.p80 <= row.p95
    way, terms = due.way_to(draft.practice), due.Terms(physical=True)
    leaves = due.leaves_after(way, row.p95, terms)
    assert row.p95 < leaves
    assert row.seat_from == due.first_seat_day(way, leaves, terms)
    assert due.leave_by(way, row.seat_from) >= leaves


def test_it_is_what_the_forecast_says_of_the_same_case_once_it_is_signed() -> None:
    """The same floor and the same luck: the order stands where it will stand."""
    released_case(patient_ref="K-1")
    case = build.draft_case()
    before = computed(case)
    sign(cast.prescriber(), case)
    figures = forecast.compute(timezone.now()).figures
    job = next(job for job in figures["jobs"] if job["id"] == case.number)
    assert forecast.instant(job["finish"]["p95"]) == before.p95
    assert forecast.instant(job["finish"]["p50"]) == before.p50


def test_the_rest_of_the_floor_stays_as_it_is(draft: Case) -> None:
    assert draft.draft is not None
    seen = look(timezone.now())
    with_it = promise.with_order(seen, draft, draft.draft)
    assert with_it.cases[:-1] == seen.cases
    assert with_it.cases[-1].number == draft.number
    assert [piece.kind for piece in with_it.cases[-1].pieces] == ["abutment", "crown"]


def test_a_change_takes_the_place_of_what_was_signed() -> None:
    case = released_case()
    amend(cast.prescriber(), case)
    case.refresh_from_db()
    assert case.draft is not None
    seen = promise.with_order(look(timezone.now()), case, case.draft)
    assert [one.number for one in seen.cases] == [case.number]
    assert all(step.started_at is None for piece in seen.cases[0].pieces for step in piece.steps)


def test_nothing_is_promised_where_there_is_no_route(draft: Case) -> None:
    Route.objects.filter(make="metal_abutment").update(active=False)
    row = computed(draft)
    assert (row.seat_from, row.p95) == (None, None)
    assert "there is no route in use for" in row.reason
    assert "By the usual working days" in page(draft)


def test_the_page_asks_once_and_then_says_it(draft: Case) -> None:
    first = page(draft)
    assert "The figure from the floor is being computed." in first
    assert 'hx-trigger="every 2s"' in first
    page(draft)
    (row,) = OutboxRow.objects.filter(kind=promise.KIND)
    assert row.subject == draft.number
    assert outbox.run(row.pk)
    ready = page(draft)
    assert "In 95 of 100 simulated futures" in ready
    assert "hx-trigger" not in ready
    assert OutboxRow.objects.filter(kind=promise.KIND).count() == 1


def test_another_order_or_an_old_floor_is_computed_anew(draft: Case) -> None:
    computed(draft)
    assert draft.draft is not None
    assert promise.promise_of(draft, draft.draft, timezone.now()) is not None
    assert promise.promise_of(draft, draft.draft, timezone.now() + promise.FRESH) is None
    edit_draft(cast.assistant(), draft, **build.order(items=[build.screw_crown()]))
    changed = Case.objects.get(pk=draft.pk)
    assert changed.draft is not None
    assert promise.promise_of(changed, changed.draft, timezone.now()) is None


def test_a_floor_that_cannot_be_simulated_is_not_asked_again_at_once(draft: Case) -> None:
    page(draft)
    row = OutboxRow.objects.get(kind=promise.KIND)
    OutboxRow.objects.filter(pk=row.pk).update(state=OutboxRow.State.DEAD, finished_at=timezone.now())
    assert "could not be simulated just now" in page(draft)
    assert OutboxRow.objects.filter(kind=promise.KIND).count() == 1
    with time_machine.travel(timezone.now() + promise.FRESH + timedelta(seconds=1), tick=False):
        assert "being computed" in page(draft)


def test_an_order_that_was_signed_meanwhile_needs_none(draft: Case) -> None:
    page(draft)
    sign(cast.prescriber(), draft)
    row = OutboxRow.objects.get(kind=promise.KIND)
    assert outbox.run(row.pk)
    assert not Promise.objects.exists()


def test_programs_ask_and_are_told_to_come_again(draft: Case) -> None:
    program = Program(cast.assistant())
    asked = program.ask("GET", f"/{draft.number}/promise")
    assert (asked.status_code, asked.json()["state"], asked.json()["seat_from"]) == (202, "queued", None)
    computed(draft)
    said = program.ask("GET", f"/{draft.number}/promise")
    assert (said.status_code, said.json()["state"], said.json()["replications"]) == (200, "ready", 200)
    assert said.json()["usual_seat_from"] == "2031-03-18"
    assert said.json()["seat_from"] is not None


def test_only_the_practice_asks_and_only_for_a_draft(draft: Case) -> None:
    cast.assistant("southgate")
    with refused("", "another practice", kind=Forbidden, also=(OutboxRow,)):
        promise.standing(cast.assistant("southgate"), draft, timezone.now())
    signed = build.signed_case(patient_ref="K-9")
    with refused("", "has no draft", kind=Conflict, also=(OutboxRow,)):
        promise.standing(cast.assistant(), signed, timezone.now())
