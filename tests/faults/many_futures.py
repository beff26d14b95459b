"""Loaded into a worker by `--include tests.faults.many_futures`: its forecasts take seconds, time enough to kill it."""

from django.conf import settings

settings.PLANNING_REPLICATIONS = 30_000
