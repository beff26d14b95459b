"""When a new forecast is wanted: something changed since the last one, or it has grown old."""

from datetime import datetime, timedelta

from django.db import transaction

from labqueue.base import outbox
from labqueue.base.models import OutboxRow
from labqueue.planning.floor import latest_event
from labqueue.planning.models import Forecast
from labqueue.production.models import Station

KIND, SUBJECT = "forecast", "laboratory"

# A burst of scans makes one forecast, and no more than three in a minute.
SHORTEST = timedelta(seconds=20)
LONGEST = timedelta(minutes=10)


@transaction.atomic
def ask() -> OutboxRow:
    """Ask for a new forecast. One that is asked for already and not begun counts for all who ask."""
    return outbox.put(KIND, SUBJECT)


def wanted(now: datetime) -> bool:
    """Whether a new forecast should be asked for. After one that failed for good, only when `LONGEST` has passed."""
    if is_coming() or failed_since(now - LONGEST) or not Station.objects.exists():
        return False
    last = latest()
    if last is None:
        return True
    age = now - last.made_at
    return age > LONGEST or (age > SHORTEST and last.version < latest_event())


def latest() -> Forecast | None:
    """The last forecast that was published."""
    return Forecast.objects.first()


def is_coming() -> bool:
    """Whether a forecast is queued or being computed."""
    return outbox.is_coming(KIND, SUBJECT)


def last_ended() -> OutboxRow | None:
    """The last work on a forecast that came to an end, well or badly."""
    return outbox.last_ended(KIND, SUBJECT)


def failed_since(moment: datetime) -> bool:
    """Whether the last forecast failed for good, after `moment`."""
    return outbox.died_since(KIND, SUBJECT, moment)
