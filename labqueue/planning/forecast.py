"""One forecast: the shop as it stands is simulated, and what comes out is published in one transaction."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.conf import settings
from django.utils import timezone

from labqueue.engine import Shop, simulate
from labqueue.planning import bottleneck, floor, shop, words
from labqueue.planning.models import Forecast, Prediction, StationOutlook
from labqueue.planning.pulse import GoOn, with_pulse
from labqueue.planning.snapshot import OpenCase, Snapshot
from labqueue.production.models import Station
from orders import outlook
from orders.models import Outlook

# The same luck in every forecast: what changes between two of them is the shop.
SEED = 1


@dataclass(frozen=True)
class Result:
    """A finished simulation, not yet published. `figures` is the plain form of the engine's forecast."""

    snapshot: Snapshot
    figures: dict[str, Any]
    left_out: dict[str, str]
    made_at: datetime
    seconds: float


def replications() -> int:
    """How many futures are simulated."""
    return int(getattr(settings, "PLANNING_REPLICATIONS", 1000))


def threads() -> int:
    """On how many cores; the figures do not depend on it."""
    return int(getattr(settings, "PLANNING_THREADS", 2))


def compute(now: datetime, alive: Callable[[], object] = lambda: None, every: float = 15) -> Result:
    """Look at the floor and simulate it; writes nothing. Calls `alive` each `every` seconds while it simulates.

    Raises ShopError where the laboratory cannot be stated, and what `alive` raises.
    """
    began = time.perf_counter()
    snapshot = floor.look(now)
    stated = shop.state(snapshot)
    figures = with_pulse(lambda go_on: simulated(stated.shop, go_on), alive, every)
    seconds = time.perf_counter() - began
    return Result(snapshot, figures, dict(stated.left_out), timezone.now(), seconds)


def simulated(stated: Shop, go_on: GoOn = lambda: None) -> dict[str, Any]:
    """What the engine says of a shop; it ends early with what `go_on` raises."""
    return simulate(stated, replications(), SEED, threads(), between=go_on).to_dict()


def publish(result: Result) -> Forecast:
    """Write the forecast and what it says of each case and station, in the caller's transaction."""
    forecast = Forecast.objects.create(
        version=result.snapshot.version,
        shop_at=result.snapshot.now,
        made_at=result.made_at,
        replications=result.figures["replications"],
        seed=SEED,
        seconds=result.seconds,
    )
    cases = {case.number: case for case in result.snapshot.cases}
    said = [(cases[job["id"]], job) for job in result.figures["jobs"]]
    Prediction.objects.bulk_create(prediction(forecast, case, job) for case, job in said)
    pks = dict(Station.objects.values_list("code", "pk"))
    stations = bottleneck.loads(result.snapshot, result.figures)
    StationOutlook.objects.bulk_create(station_row(forecast, pks[s.code], s) for s in stations if s.code in pks)
    names = {code: station.name for code, station in result.snapshot.stations.items()}
    shown = [case_outlook(forecast, case, job, names) for case, job in said]
    outlook.record([*shown, *(no_outlook(forecast, cases[n], why) for n, why in result.left_out.items())])
    outlook.clear(floor.FORECAST_STATES, words.NOTHING_LEFT, forecast.shop_at)
    return forecast


def prediction(forecast: Forecast, case: OpenCase, job: dict[str, Any]) -> Prediction:
    """What is kept of a case's forecast, to be compared with what happens."""
    return Prediction(forecast=forecast, case_id=case.pk, due_at=case.due_at, **probabilities(job))


def station_row(forecast: Forecast, station: int, load: bottleneck.StationLoad) -> StationOutlook:
    """What is kept of a station's."""
    return StationOutlook(
        forecast=forecast,
        station_id=station,
        work_in_process=load.work_in_process,
        wait_minutes=load.wait_minutes,
        utilisation=load.utilisation,
        late_cases=load.late_cases,
    )


def case_outlook(forecast: Forecast, case: OpenCase, job: dict[str, Any], names: dict[str, str]) -> Outlook:
    """What is shown beside a case. Its age is the age of what was looked at, not of the answer."""
    why = words.reason(case, job["waits"], names)
    return Outlook(case_id=case.pk, made_at=forecast.shop_at, reason=why[:200], **probabilities(job))


def no_outlook(forecast: Forecast, case: OpenCase, why: str) -> Outlook:
    """For a case that could not be stated: why."""
    return Outlook(case_id=case.pk, made_at=forecast.shop_at, reason=f"no forecast: {why}"[:200])


def probabilities(job: dict[str, Any]) -> dict[str, Any]:
    """The figures of a case as the rows hold them: the share of futures in which it is late, with its 95 % interval."""
    low, high = job["late_ci"] or (None, None)
    moments = {key: instant(job["finish"][key]) for key in ("p50", "p80", "p95")}
    return {"late": job["late"], "late_low": low, "late_high": high, **moments}


def instant(text: str | None) -> datetime | None:
    """A moment as the engine writes it."""
    return datetime.fromisoformat(text) if text else None
