"""What was forecast: kept, so that it can be compared with what happened."""

from django.db import models
from django.db.models import Q

from labqueue.production.models import Station
from orders.models import Case


class Forecast(models.Model):
    """One simulation of the whole shop as it stood. `version` is the last audit event that it knew of."""

    version = models.BigIntegerField()
    shop_at = models.DateTimeField()
    made_at = models.DateTimeField()
    replications = models.PositiveIntegerField()
    seed = models.PositiveIntegerField()
    seconds = models.FloatField()

    class Meta:
        ordering = ["-id"]


class Prediction(models.Model):
    """What one forecast said of one case: probability to leave after its due date, and quantiles of its finish."""

    forecast = models.ForeignKey(Forecast, on_delete=models.CASCADE, related_name="predictions")
    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="predictions")
    due_at = models.DateTimeField(null=True)
    late = models.FloatField(null=True)
    late_low = models.FloatField(null=True)
    late_high = models.FloatField(null=True)
    p50 = models.DateTimeField(null=True)
    p80 = models.DateTimeField(null=True)
    p95 = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["forecast", "case"], name="one_prediction_per_forecast"),
            models.CheckConstraint(
                condition=Q(late__isnull=True) | Q(late__gte=0, late__lte=1), name="prediction_is_a_probability"
            ),
        ]


class Promise(models.Model):
    """What the floor, as it stood at `shop_at`, could promise to an order that was not signed yet.

    `mark` is the hash of what was asked for, `seat_from` the first day for an appointment; none where `reason` says
    why.
    """

    case = models.OneToOneField(Case, on_delete=models.PROTECT, related_name="+")
    mark = models.CharField(max_length=64)
    shop_at = models.DateTimeField()
    made_at = models.DateTimeField()
    replications = models.PositiveIntegerField()
    p50 = models.DateTimeField(null=True)
    p80 = models.DateTimeField(null=True)
    p95 = models.DateTimeField(null=True)
    seat_from = models.DateField(null=True)
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(seat_from__isnull=False) | ~Q(reason=""), name="promise_or_reason")
        ]


class StationOutlook(models.Model):
    """What one forecast said of one station, over its horizon."""

    forecast = models.ForeignKey(Forecast, on_delete=models.CASCADE, related_name="stations")
    station = models.ForeignKey(Station, on_delete=models.CASCADE, related_name="+")
    # Work items there at the time of the forecast: waiting or in work.
    work_in_process = models.PositiveIntegerField()
    # Mean minutes between being able to start and starting.
    wait_minutes = models.FloatField(null=True)
    # Busy time over open time.
    utilisation = models.FloatField(null=True)
    # Expected late cases of which this station holds the share of their waiting.
    late_cases = models.FloatField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["forecast", "station"], name="one_outlook_per_station")]
