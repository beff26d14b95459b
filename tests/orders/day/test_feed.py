"""The practice's calendar: read back by a calendar library, opened by its address only, with nothing of the patient."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from icalendar import Calendar

from labqueue.base import audit
from labqueue.base.errors import Forbidden, NotFound
from orders.acceptance import accept
from orders.cancel import cancel
from orders.day.calendar import calendar_of
from orders.day.feeds import MOST, digest, issue_feed, live, revoke_feed
from orders.hold import hold
from orders.models import Case, Feed
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused

pytestmark = pytest.mark.django_db


def entries(code: str = "northgate") -> dict[str, Any]:
    """The entries of a practice's calendar by UID."""
    read = Calendar.from_ical(calendar_of(cast.practice(code), timezone.now()))
    return {str(event["uid"]): event for event in read.walk("VEVENT")}


def seat(case: Case) -> Any:
    return entries()[f"{case.number}-seat@labqueue"]


def test_the_appointment_is_an_instant_and_the_arrival_a_whole_day() -> None:
    case = build.signed_case()
    assert seat(case).decoded("dtstart") == case.seat_at
    assert seat(case)["dtstart"].to_ical().endswith(b"Z")
    expected = entries()[f"{case.number}-arrival@labqueue"]
    first, after = expected.decoded("dtstart"), expected.decoded("dtend")
    assert type(first) is date
    assert after - first == timedelta(days=1)
    assert case.due_at is not None
    assert case.seat_at is not None
    assert case.due_at.date() < first < case.seat_at.date()


def test_it_is_written_as_the_standard_wants() -> None:
    """RFC 5545, 3.1: lines end with CR LF and have at most 75 octets."""
    build.signed_case()
    text = calendar_of(cast.practice(), timezone.now())
    lines = text.split(b"\r\n")
    assert lines[0] == b"BEGIN:VCALENDAR"
    assert lines[-2:] == [b"END:VCALENDAR", b""]
    assert max(map(len, lines)) <= 75
    assert not any(b"\n" in line for line in lines)


def test_it_says_nothing_of_the_patient_or_the_work() -> None:
    build.signed_case(patient_ref="SECRET-77", note="Only this word tells: Zwetschge.")
    text = calendar_of(cast.practice(), timezone.now()).decode().replace("\r\n ", "").lower()
    for word in ("secret-77", "zwetschge", "tooth", "incisor", "titanium", "zirconia", "crown"):
        assert word not in text


def test_a_change_has_a_higher_sequence_under_the_same_uid() -> None:
    case = build.signed_case()
    before = seat(case)
    accept(cast.manager(), case)
    after = seat(case)
    assert after["sequence"] > before["sequence"]
    assert "accepted" in after["summary"]


def test_a_case_that_stands_still_says_so() -> None:
    case = hold(cast.manager(), build.signed_case(), "Which shade?")
    assert "waits for your answer" in seat(case)["summary"]
    assert "shade" not in str(seat(case)["summary"])


def test_a_cancelled_appointment_stays_as_cancelled() -> None:
    case = cancel(cast.prescriber(), build.signed_case(), "No longer wanted")
    assert seat(case)["status"] == "CANCELLED"


def test_drafts_and_foreign_cases_are_not_in_it() -> None:
    build.draft_case()
    build.signed_case(cast.prescriber("southside"))
    assert entries() == {}
    assert len(entries("southside")) == 2


def test_it_takes_as_many_queries_for_many_cases() -> None:
    build.signed_case()
    with CaptureQueriesContext(connection) as one:
        entries()
    for number in range(4):
        build.signed_case(patient_ref=f"K-{number}")
    with CaptureQueriesContext(connection) as many:
        assert len(entries()) == 10
    assert len(many) == len(one)


def test_the_address_opens_it_for_anybody_until_it_is_revoked(client: Client) -> None:
    case = build.signed_case()
    token = issue_feed(cast.assistant())
    response = client.get(f"/feeds/{token}.ics")
    assert response.status_code == 200
    assert response["Content-Type"].startswith("text/calendar")
    assert case.number.encode() in response.content
    revoke_feed(cast.prescriber(), Feed.objects.get().pk)
    assert client.get(f"/feeds/{token}.ics").status_code == 404
    assert client.get("/feeds/guessed.ics").status_code == 404


def test_only_its_hash_is_kept() -> None:
    token = issue_feed(cast.assistant())
    assert Feed.objects.get().digest == digest(token) != token
    assert token not in str(audit.trail(cast.practice())[-1].after)


def test_the_laboratory_has_none() -> None:
    with refused("", "Only people of a practice", Forbidden, also=(Feed,)):
        issue_feed(cast.manager())
    assert not Feed.objects.exists()


def test_too_many_are_refused_and_nothing_is_written() -> None:
    for _ in range(MOST):
        issue_feed(cast.assistant())
    events = len(audit.trail(cast.practice()))
    with refused("", "Revoke one that nobody uses first", also=(Feed,)):
        issue_feed(cast.assistant())
    assert live(cast.practice()).count() == MOST
    assert len(audit.trail(cast.practice())) == events


def test_nobody_revokes_an_address_of_another_practice() -> None:
    issue_feed(cast.assistant())
    stranger = cast.assistant("southside")
    with refused("", "no such calendar address", NotFound, also=(Feed,)):
        revoke_feed(stranger, Feed.objects.get().pk)
    assert live(cast.practice()).count() == 1


def test_the_page_shows_an_address_once(client: Client) -> None:
    client.force_login(cast.assistant())
    made = client.post("/calendar").content.decode()
    address = made.split('<p class="code">')[1].split("</p>")[0]
    assert address.startswith("http://testserver/feeds/")
    assert client.get(address.removeprefix("http://testserver")).status_code == 200
    again = client.get("/calendar").content.decode()
    assert address not in again
    assert "Addresses in use" in again
    pk = Feed.objects.get().pk
    assert client.post(f"/calendar/{pk}/revoke").status_code == 302
    assert "No addresses yet" in client.get("/calendar").content.decode()
