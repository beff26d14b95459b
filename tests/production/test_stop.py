"""Stopping a case on the floor: its pieces are withdrawn, and what was made of it is said."""

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Conflict, Forbidden
from labqueue.production.models import WorkItem, WorkStep
from labqueue.production.stop import stop
from orders.models import Message
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused
from tests.orders.test_api import Program
from tests.production.build import finished_case, piece, released_case, scan_through, send

pytestmark = pytest.mark.django_db
WHY = "The patient wants another plan"
FLOOR = (WorkItem, WorkStep)


def test_the_case_ends_with_what_was_made_of_each_piece() -> None:
    case = released_case()
    abutment = piece(case, "abutment")
    scan_through(abutment, until="wet-milling")
    stopped = stop(cast.manager(), case, WHY)
    assert (stopped.state, stopped.cancel_reason) == ("cancelled", WHY)
    assert set(case.work_items.values_list("state", flat=True)) == {"withdrawn"}
    said = Message.objects.get(case=case)
    assert said.text.startswith(f"Cancelled: {WHY} Abutment, 8 Universal, upper right central incisor: ")
    assert "intake, " in said.text
    assert said.text.endswith("Crown on an abutment, 8 Universal, upper right central incisor: nothing made yet.")
    assert audit.trail(case)[-1].verb == "cancelled"


def test_what_runs_is_said_as_begun_and_can_no_longer_be_scanned() -> None:
    case = released_case()
    abutment = piece(case, "abutment")
    send(abutment, "intake")
    stop(cast.manager(), case, WHY)
    assert " begun." in Message.objects.get(case=case).text
    with refused("code", "was cancelled. Take", kind=Conflict, also=FLOOR):
        send(abutment, "intake", action="done", occurred_at=timezone.now() + timedelta(minutes=1))


def test_only_what_is_on_the_floor_is_stopped_by_the_laboratory_with_a_reason() -> None:
    case, done = released_case(), finished_case(patient_ref="K-2")
    waits = build.accepted_case(patient_ref="K-3")
    with refused("", "Only people of the laboratory", kind=Forbidden, also=FLOOR):
        stop(cast.prescriber(), case, WHY)
    with refused("reason", "Say in 3 to 200 characters why", also=FLOOR):
        stop(cast.manager(), case, " ")
    with refused("case", "Only what is on the floor", kind=Conflict, also=FLOOR):
        stop(cast.manager(), done, WHY)
    with refused("case", "Only what is on the floor", kind=Conflict, also=FLOOR):
        stop(cast.manager(), waits, WHY)


def test_the_manager_stops_it_on_its_page_and_the_page_says_so() -> None:
    case = released_case()
    client = Client()
    client.force_login(cast.manager())
    assert "Stop this case" in client.get(f"/cases/{case.number}/floor").content.decode()
    client.post(f"/cases/{case.number}/stop", {"reason": WHY})
    page = client.get(f"/cases/{case.number}/floor").content.decode()
    assert "This case was stopped. Take its pieces off the floor" in page
    assert "Stop this case" not in page


def test_a_program_stops_it() -> None:
    case = released_case()
    answer = Program(cast.manager()).ask("POST", f"/{case.number}/stop", {"reason": WHY})
    assert (answer.status_code, answer.json()["state"]) == (200, "cancelled")
    again = Program(cast.manager()).ask("POST", f"/{case.number}/stop", {"reason": WHY})
    assert again.status_code == 409
