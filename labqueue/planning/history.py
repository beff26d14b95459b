"""How long forecasts are kept: all of the last day, then one an hour, for comparison with what happened."""

from datetime import UTC, datetime, timedelta

from django.db import transaction
from django.db.models import Max
from django.db.models.functions import TruncHour

from labqueue.planning.models import Forecast

WHOLE = timedelta(days=1)


@transaction.atomic
def thin(now: datetime) -> int:
    """Drop all but the last forecast of each hour, with what they said, once they are a day old; how many forecasts.

    The last forecast of all stays, however old it is.
    """
    old = Forecast.objects.filter(made_at__lt=now - WHOLE)
    hours = old.order_by().annotate(hour=TruncHour("made_at", tzinfo=UTC)).values("hour")
    last = hours.annotate(last=Max("pk")).values("last")
    return old.exclude(pk__in=last).delete()[1].get(Forecast._meta.label, 0)
