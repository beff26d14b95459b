"""A forecast from the floor to the rows that people see."""

from datetime import timedelta

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from labqueue.base import audit, outbox
from labqueue.base.models import OutboxRow
from labqueue.planning import forecast, freshness
from labqueue.planning.floor import latest_event
from labqueue.planning.forecast import Result
from labqueue.planning.models import Forecast, Prediction, StationOutlook
from labqueue.production.models import Station
from labqueue.production.stop import stop
from orders.hold import hold
from orders.models import Case, Outlook
from tests import cast
from tests.orders.build import accepted_case
from tests.production.build import finished_case, piece, released_case, scan_through, send

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def few_futures(settings: object) -> None:
    """Enough for a test."""
    settings.PLANNING_REPLICATIONS = 100  # type: ignore[attr-defined]


def made() -> Forecast:
    """A forecast of now, published."""
    result = forecast.compute(timezone.now())
    with transaction.atomic():
        return forecast.publish(result)


def outlook(case: Case) -> Outlook:
    """What is shown beside the case."""
    return Outlook.objects.get(case=case)


def test_a_forecast_says_of_each_open_case_when_it_is_ready_and_how_likely_late() -> None:
    cases = [released_case(), accepted_case(patient_ref="K-2042"), finished_case(patient_ref="K-2043")]
    published = made()
    assert published.replications == 100
    assert published.version == latest_event()
    assert {row.case for row in published.predictions.all()} == set(cases)
    for case in cases:
        said = outlook(case)
        assert said.late == 0.0, "three weeks are enough"
        assert said.late_low == 0.0
        assert 0 < said.late_high < 0.05  # type: ignore[operator]
        assert published.shop_at < said.p50 <= said.p80 <= said.p95 < case.due_at  # type: ignore[operator]
        assert said.made_at == published.shop_at
        assert said.reason


def test_what_is_kept_is_what_is_shown() -> None:
    case = released_case()
    kept = made().predictions.get()
    said = outlook(case)
    for name in ("late", "late_low", "late_high", "p50", "p80", "p95"):
        assert getattr(kept, name) == getattr(said, name)
    assert kept.due_at == case.due_at


def test_a_case_that_cannot_be_in_time_is_late_for_sure() -> None:
    case = released_case()
    Case.objects.filter(pk=case.pk).update(due_at=timezone.now() - timedelta(hours=1))
    made()
    assert outlook(case).late == 1.0
    assert outlook(case).late_low > 0.95  # type: ignore[operator]


def test_a_finished_case_is_ready_before_one_that_waits_for_its_release() -> None:
    finished, waits = finished_case(), accepted_case(patient_ref="K-2042")
    made()
    assert outlook(finished).p95 < outlook(waits).p50  # type: ignore[operator]


def test_a_hold_puts_the_date_off_and_is_the_reason() -> None:
    free, held = released_case(), released_case(patient_ref="K-2042")
    hold(cast.manager(), held, "The implant's label cannot be read.")
    made()
    assert outlook(held).p80 > outlook(free).p80  # type: ignore[operator]
    assert outlook(held).reason.startswith("on hold, waits for an answer")


def test_every_station_is_measured() -> None:
    case = released_case()
    scan_through(piece(case), until="milling")
    send(piece(case), "milling")
    published = made()
    found = {row.station.code: row for row in published.stations.select_related("station")}
    assert set(found) == set(Station.objects.values_list("code", flat=True))
    assert (found["milling"].work_in_process, found["intake"].work_in_process) == (1, 1)
    assert all(row.utilisation is None or 0 <= row.utilisation <= 1 for row in found.values())
    assert sum(row.late_cases for row in found.values()) <= 1


def test_an_odd_row_leaves_out_its_case_and_says_why() -> None:
    odd, sound = released_case(), accepted_case(patient_ref="K-2042")
    now = timezone.now()
    piece(odd).steps.filter(seq=3).update(state="done", started_at=now, done_at=now)
    made()
    assert (outlook(odd).late, outlook(odd).p50) == (None, None)
    assert outlook(odd).reason.startswith('no forecast: "2.mill')
    assert outlook(odd).reason.endswith('is done, but "2.design" before it is not')
    assert outlook(sound).p50 is not None
    assert [row.case for row in Prediction.objects.all()] == [sound]


def test_the_same_floor_and_instant_give_the_same_figures() -> None:
    released_case()
    now = timezone.now()
    assert forecast.compute(now).figures == forecast.compute(now).figures


def test_computing_writes_nothing() -> None:
    case = released_case()
    result = forecast.compute(timezone.now())
    assert isinstance(result, Result)
    assert not Forecast.objects.exists()
    assert not Outlook.objects.filter(case=case).exists()


def test_a_new_forecast_replaces_what_is_shown_and_keeps_what_was_said() -> None:
    case = released_case()
    first = made()
    second = made()
    assert outlook(case).made_at == second.shop_at > first.shop_at
    assert case.predictions.count() == 2
    assert StationOutlook.objects.values("forecast").distinct().count() == 2


def test_a_case_that_has_left_is_shown_without_the_risk_it_had() -> None:
    """What was predicted of it is kept; it is no longer what lists show."""
    here, packed, cancelled = (released_case(patient_ref=f"K-205{n}") for n in range(3))
    Case.objects.filter(pk=packed.pk).update(due_at=timezone.now() - timedelta(hours=1))
    made()
    assert outlook(packed).late == 1.0
    Case.objects.filter(pk=packed.pk).update(state=Case.State.PACKED)
    stop(cast.manager(), cancelled, "No longer wanted")
    last = made()
    for gone in (packed, cancelled):
        said = outlook(gone)
        assert [said.late, said.late_low, said.late_high, said.p50, said.p80, said.p95] == [None] * 6
        assert (said.reason, said.made_at) == ("nothing is left to forecast", last.shop_at)
        assert gone.predictions.count() == 1
    assert outlook(here).late == 0.0


def test_a_case_packed_while_it_was_simulated_is_shown_without_a_risk() -> None:
    case = released_case()
    result = forecast.compute(timezone.now())
    Case.objects.filter(pk=case.pk).update(state=Case.State.PACKED)
    with transaction.atomic():
        forecast.publish(result)
    assert (outlook(case).late, outlook(case).p50) == (None, None)


def test_what_was_taken_back_is_not_written_again() -> None:
    case = released_case()
    made()
    Case.objects.filter(pk=case.pk).update(state=Case.State.PACKED)
    second = made()
    made()
    assert outlook(case).made_at == second.shop_at


def test_a_forecast_is_no_change_of_the_floor() -> None:
    """Else it would ask for the next one by itself."""
    case = released_case()
    before = len(audit.trail(case))
    published = made()
    assert latest_event() == published.version
    assert len(audit.trail(case)) == before


def test_publishing_takes_the_same_number_of_queries_for_one_case_and_for_four() -> None:
    def queries() -> int:
        result = forecast.compute(timezone.now())
        with CaptureQueriesContext(connection) as captured, transaction.atomic():
            forecast.publish(result)
        return len(captured)

    released_case()
    first = queries()
    for number in range(3):
        released_case(patient_ref=f"K-205{number}")
    assert queries() == first


def test_the_outbox_makes_the_forecast_and_ends_with_it() -> None:
    case = released_case()
    row = freshness.ask()
    assert outbox.run(row.pk)
    row.refresh_from_db()
    assert (row.state, row.attempt) == (OutboxRow.State.DONE, 1)
    assert Forecast.objects.count() == 1
    assert outlook(case).late == 0.0


def test_an_attempt_that_was_overtaken_publishes_nothing() -> None:
    released_case()
    row = outbox.claim(freshness.ask().pk)
    assert row is not None
    publish = outbox.HANDLERS[freshness.KIND].work(row)
    OutboxRow.objects.filter(pk=row.pk).update(attempt=row.attempt + 1)
    assert not outbox.finish(row, publish)
    assert not Forecast.objects.exists()
    assert not Outlook.objects.exists()


def test_a_forecast_that_fails_leaves_the_old_figures_with_their_age() -> None:
    case = released_case()
    old = made()
    Station.objects.filter(code="design").update(rule="loudest")
    row = freshness.ask()
    assert not outbox.run(row.pk)
    row.refresh_from_db()
    assert "stations.design.rule" in row.error
    assert outlook(case).made_at == old.shop_at
    assert outlook(case).late == 0.0
    assert Forecast.objects.get() == old


def test_nothing_is_wanted_where_there_is_no_laboratory_yet() -> None:
    assert not freshness.wanted(timezone.now())


def test_an_empty_laboratory_is_forecast_too() -> None:
    assert made().predictions.count() == 0
    assert not Outlook.objects.exists()
