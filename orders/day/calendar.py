"""A practice's cases as a calendar (RFC 5545): numbers and states, nothing of a patient and nothing of the work."""

from datetime import UTC, date, datetime, timedelta

from django.db.models import Max, Q
from icalendar import Calendar, Event

from labqueue.base.audit import chain_name
from labqueue.base.models import Chain
from orders import due
from orders.models import OPEN_STATES, Case, Practice
from orders.words import short

# How long a case that is over stays in the calendar, so that programs learn of its end.
AFTER = timedelta(days=30)
MOST = 1000
Change = tuple[int, datetime]


def calendar_of(practice: Practice, now: datetime) -> bytes:
    """The calendar of the practice's signed cases: each appointment, and the day on which the box arrives."""
    cases = list(shown(practice, now))
    changes = last_changes(cases)
    way = due.way_to(practice)
    calendar = Calendar()
    calendar.add("version", "2.0")
    calendar.add("prodid", "-//labqueue//Cases of a practice//EN")
    calendar.add("method", "PUBLISH")
    for case in cases:
        change = changes.get(chain_name(case), (0, case.created_at))
        if case.seat_at is not None:
            calendar.add_component(appointment(case, change))
        if case.due_at is not None:
            calendar.add_component(arrival(case, arrival_day(way, case.due_at), change))
    return bytes(calendar.to_ical())


def shown(practice: Practice, now: datetime) -> list[Case]:
    """What is in work, and what ended lately. A draft is nobody's appointment yet."""
    ended = Q(shipped_at__gte=now - AFTER) | Q(state=Case.State.CANCELLED, seat_at__gte=now - AFTER)
    cases = practice.cases.filter(current__isnull=False).filter(Q(state__in=OPEN_STATES) | ended)
    return list(cases.order_by("-number")[:MOST])


def last_changes(cases: list[Case]) -> dict[str, Change]:
    """How often each case was changed, and when last, by the name of its audit trail. One query."""
    chains = Chain.objects.filter(name__in=[chain_name(case) for case in cases]).annotate(last=Max("events__at"))
    return {chain.name: (chain.length, chain.last) for chain in chains}


def arrival_day(way: due.Way, leaves: datetime) -> date:
    """The day of the practice on which a box that leaves then is there."""
    sent = leaves.astimezone(way.lab_zone).date()
    return way.practice.on_or_after(way.laboratory.shift(sent, max(1, way.transit_days)))


def appointment(case: Case, change: Change) -> Event:
    """The appointment at which the pieces are seated, as an instant."""
    event = entry(case, "seat", f"Case {case.number} is seated: {state_of(case)}", change)
    event.add("dtstart", utc(case.seat_at))
    return event


def arrival(case: Case, day: date, change: Change) -> Event:
    """The day on which the box is expected; a whole-day entry ends on the day after (RFC 5545, 3.6.1)."""
    event = entry(case, "arrival", f"Case {case.number} is expected: {state_of(case)}", change)
    event.add("dtstart", day)
    event.add("dtend", day + timedelta(days=1))
    event.add("transp", "TRANSPARENT")
    return event


def entry(case: Case, part: str, summary: str, change: Change) -> Event:
    """What all entries say. The same UID with a higher SEQUENCE replaces what a program has."""
    length, at = change
    event = Event()
    event.add("uid", f"{case.number}-{part}@labqueue")
    event.add("dtstamp", utc(at))
    event.add("last-modified", utc(at))
    event.add("sequence", length)
    event.add("summary", summary)
    event.add("status", "CANCELLED" if case.state == Case.State.CANCELLED else "CONFIRMED")
    return event


def state_of(case: Case) -> str:
    """The state in words; a case that stands still says so."""
    return "waits for your answer" if case.held_since else short(case.get_state_display()).lower()


def utc(at: datetime | None) -> datetime:
    """An instant in UTC, to the second."""
    assert at is not None
    return datetime.fromtimestamp(int(at.timestamp()), tz=UTC)
