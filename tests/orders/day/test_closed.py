"""Single days on which a practice takes no delivery."""

from datetime import date, timedelta

import pytest
from django.test import Client
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Conflict, Forbidden, NotFound
from labqueue.base.workdays import Workdays
from orders import due
from orders.day.closed import ahead, close_day, reopen_day
from orders.models import PracticeClosedDay
from tests import cast
from tests.orders import build
from tests.orders.refusals import refused

pytestmark = pytest.mark.django_db


def workday(days: int) -> date:
    """A working day that many working days from today."""
    return Workdays().shift(timezone.localdate(), days)


def test_a_date_is_counted_without_the_day() -> None:
    """The box is there one working day before the seat: if that is closed, the case leaves a working day earlier."""
    seat = workday(15)
    before = due.leave_by(due.way_to(cast.practice()), seat)
    close_day(cast.assistant(), Workdays().shift(seat, -1), "Congress")
    after = due.leave_by(due.way_to(cast.practice()), seat)
    assert after.date() == Workdays().shift(before.date(), -1)


def test_what_was_promised_stays_and_what_is_signed_later_counts_it() -> None:
    case = build.signed_case()
    assert case.seat_at is not None
    promised = case.due_at
    close_day(cast.assistant(), Workdays().shift(case.seat_at.date(), -1), "Congress")
    case.refresh_from_db()
    assert case.due_at == promised
    later = build.signed_case(patient_ref="K-1")
    assert later.due_at is not None
    assert promised is not None
    assert later.due_at < promised


def test_it_counts_for_that_practice_only() -> None:
    seat = workday(15)
    before = due.leave_by(due.way_to(cast.practice("southside")), seat)
    close_day(cast.assistant(), Workdays().shift(seat, -1), "Congress")
    assert due.leave_by(due.way_to(cast.practice("southside")), seat) == before


def test_it_is_written_down_and_can_be_taken_back() -> None:
    closed = close_day(cast.assistant(), workday(5), "  Bank   holiday ")
    assert list(ahead(cast.practice())) == [closed]
    assert closed.name == "Bank holiday"
    reopen_day(cast.prescriber(), closed.pk)
    assert not ahead(cast.practice()).exists()
    assert [event.verb for event in audit.trail(cast.practice())[-2:]] == ["close day", "reopen day"]


@pytest.mark.parametrize("days", [-1, 731])
def test_days_behind_and_years_ahead_are_refused(days: int) -> None:
    actor = cast.assistant()
    with refused("day", "Give a day from today to", also=(PracticeClosedDay,)):
        close_day(actor, timezone.localdate() + timedelta(days=days), "Congress")


@pytest.mark.parametrize("name", ["", "  ", "x" * 61])
def test_it_needs_a_short_reason(name: str) -> None:
    actor = cast.assistant()
    with refused("name", "Say in at most 60 characters why", also=(PracticeClosedDay,)):
        close_day(actor, workday(5), name)


def test_a_day_is_closed_once() -> None:
    close_day(cast.assistant(), workday(5), "Congress")
    with refused("day", "is closed already: Congress", Conflict, also=(PracticeClosedDay,)):
        close_day(cast.prescriber(), workday(5), "Holiday")


def test_the_laboratory_closes_no_day_of_a_practice() -> None:
    actor = cast.manager()
    with refused("", "Only people of a practice", Forbidden, also=(PracticeClosedDay,)):
        close_day(actor, workday(5), "Congress")


def test_nobody_opens_a_day_of_another_practice() -> None:
    closed, stranger = close_day(cast.assistant(), workday(5), "Congress"), cast.assistant("southside")
    with refused("", "has not closed this day", NotFound, also=(PracticeClosedDay,)):
        reopen_day(stranger, closed.pk)


def test_the_page(client: Client) -> None:
    client.force_login(cast.assistant())
    day = workday(5)
    assert client.post("/calendar/closed", {"day": day.isoformat(), "name": "Congress"}).status_code == 302
    assert "Congress" in client.get("/calendar").content.decode()
    again = client.post("/calendar/closed", {"day": day.isoformat(), "name": "Holiday"})
    assert (again.status_code, "is closed already: Congress" in again.content.decode()) == (422, True)
    wrong = client.post("/calendar/closed", {"day": "soon", "name": ""})
    assert wrong.status_code == 422
    pk = PracticeClosedDay.objects.get().pk
    assert client.post(f"/calendar/closed/{pk}/reopen").status_code == 302
    assert not PracticeClosedDay.objects.exists()
