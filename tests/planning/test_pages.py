"""The pages of planning, as people of each role see them."""

import re
from datetime import timedelta

import pytest
from django.db import connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from labqueue.base.models import OutboxRow, User
from labqueue.planning import forecast, freshness
from labqueue.planning.models import Forecast, StationOutlook
from orders.models import Case, Outlook
from tests import cast
from tests.orders.build import draft_case
from tests.production.build import released_case

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}


@pytest.fixture(autouse=True)
def few_futures(settings: object) -> None:
    """Enough for a test."""
    settings.PLANNING_REPLICATIONS = 50  # type: ignore[attr-defined]


def made(**ago: float) -> Forecast:
    """A forecast, published; as if it were of that long ago."""
    result = forecast.compute(timezone.now())
    with transaction.atomic():
        published = forecast.publish(result)
    if ago:
        old = timezone.now() - timedelta(**ago)
        Forecast.objects.update(shop_at=old, made_at=old)
        Outlook.objects.update(made_at=old)
    return published


def client(user: User) -> Client:
    """A browser in which that person is signed in."""
    found = Client()
    found.force_login(user)
    return found


def text(name: str, *args: str, user: User | None = None, htmx: bool = False) -> str:
    """What a page says to the lab manager, or to that person."""
    response = client(user or cast.manager()).get(reverse(name, args=args), headers=HTMX if htmx else {})
    assert response.status_code == 200
    return " ".join(response.content.decode().split())


def test_before_the_first_forecast_the_report_says_so() -> None:
    assert "No forecast yet" in text("planning:stations")
    assert "No forecast yet" in text("planning:bottlenecks", htmx=True)
    freshness.ask()
    assert "The first forecast is being computed" in text("planning:stations")


def test_the_report_shows_every_station_with_its_figures_and_their_age() -> None:
    released_case()
    published = made(minutes=7)
    page = text("planning:stations")
    for row in published.stations.select_related("station"):
        assert f'<th scope="row" data-label="Station"><span>{row.station.name}' in page
    assert "Estimated from 50 simulated futures" in page
    assert "7 min ago" in page
    assert "of 1 open case late" in page


def test_the_bottleneck_is_named_in_a_sentence_and_marked_in_the_table() -> None:
    released_case()
    published = made()
    StationOutlook.objects.filter(forecast=published, station__code="design").update(
        late_cases=2.25, wait_minutes=380, utilisation=0.93
    )
    page = text("planning:stations")
    assert "Design is the bottleneck." in page
    assert "An estimated 2.2 late cases, about 6 h of waiting per step, 93 % of its open time in use." in page
    row = page.split('data-label="Station"><span>Design')[1].split("</tr>")[0]
    assert "Bottleneck" in row
    assert "93 %" in row
    assert page.count("Bottleneck</span>") == 1


def test_bars_are_drawn_without_inline_style() -> None:
    released_case()
    made()
    page = text("planning:stations")
    assert "style=" not in page
    assert '<rect class="fill"' in page


def test_htmx_gets_the_live_part_alone() -> None:
    released_case()
    made()
    part = text("planning:stations", htmx=True)
    assert "<html" not in part
    assert "Load by station" in part
    assert "Load by station" in text("planning:stations")


def test_the_managers_home_gets_the_sentence_as_a_fragment() -> None:
    released_case()
    made(minutes=3)
    part = text("planning:bottlenecks", htmx=True)
    assert "<html" not in part
    assert "is the bottleneck" in part
    assert "3 min ago" in part
    assert reverse("planning:stations") in part
    assert "<html" in text("planning:bottlenecks"), "and a page of its own without a script"


def test_figures_that_could_not_be_renewed_stay_with_their_age() -> None:
    released_case()
    made(hours=2)
    at = timezone.now()
    facts = {"kind": freshness.KIND, "subject": freshness.SUBJECT, "due_at": at, "finished_at": at}
    OutboxRow.objects.create(state=OutboxRow.State.DEAD, error="ShopError: stations.design.rule: no rule", **facts)
    for page in (text("planning:stations"), text("planning:bottlenecks", htmx=True)):
        assert "No new forecast." in page
        assert "stations.design.rule" in page
        assert "2 h ago" in page


def test_asking_for_a_forecast_leaves_one_row_and_says_so() -> None:
    browser = client(cast.manager())
    for _ in range(2):
        response = browser.post(reverse("planning:forecast"), follow=True)
    assert response.redirect_chain == [(reverse("planning:stations"), 302)]
    assert "A new forecast was asked for" in response.content.decode()
    assert OutboxRow.objects.filter(kind=freshness.KIND).count() == 1


def test_asking_is_a_post() -> None:
    assert client(cast.manager()).get(reverse("planning:forecast")).status_code == 405
    assert not OutboxRow.objects.filter(kind=freshness.KIND).exists()


@pytest.mark.parametrize("person", [cast.technician, cast.shipper, cast.prescriber, cast.administrator])
@pytest.mark.parametrize("name", ["planning:stations", "planning:bottlenecks"])
def test_the_report_is_the_managers(name: str, person: object) -> None:
    response = client(person()).get(reverse(name))  # type: ignore[operator]
    assert response.status_code == 403


def test_only_the_manager_asks_for_a_forecast() -> None:
    assert client(cast.technician()).post(reverse("planning:forecast")).status_code == 403
    assert not OutboxRow.objects.filter(kind=freshness.KIND).exists()


@pytest.mark.parametrize("person", [cast.manager, cast.technician, cast.shipper, cast.prescriber])
def test_a_case_s_outlook_is_shown_to_who_may_see_the_case(person: object) -> None:
    case = released_case()
    made(minutes=4)
    part = text("planning:outlook", case.number, user=person(), htmx=True)  # type: ignore[operator]
    assert "estimated" in part
    assert "on track" in part
    assert "4 min ago" in part
    assert "In 19 of 20 runs" in part
    assert case.patient_ref not in part
    assert "<html" not in part


def test_an_outlook_is_a_page_of_its_own_without_a_script() -> None:
    case = released_case()
    made()
    page = text("planning:outlook", case.number)
    assert "<html" in page
    assert reverse("orders:case", args=[case.number]) in page


def test_a_foreign_or_unknown_case_has_no_outlook() -> None:
    case = released_case()
    made()
    stranger = client(cast.prescriber("southgate"))
    for number in (case.number, "2699999"):
        assert stranger.get(reverse("planning:outlook", args=[number])).status_code == 404


def test_a_case_without_figures_says_why() -> None:
    case = released_case()
    assert "No forecast yet." in text("planning:outlook", case.number, htmx=True)
    Outlook.objects.create(case=case, made_at=timezone.now(), reason="no forecast: it has no pieces")
    assert "No forecast: it has no pieces." in text("planning:outlook", case.number, htmx=True)


def test_a_case_without_a_promised_date_still_has_a_forecast() -> None:
    case = released_case()
    Case.objects.filter(pk=case.pk).update(due_at=None)
    made(minutes=4)
    part = text("planning:outlook", case.number, htmx=True)
    assert "No date is promised. Ready by" in part
    assert "4 min ago" in part


def test_a_draft_and_a_packed_case_are_not_forecast() -> None:
    draft = draft_case()
    part = text("planning:outlook", draft.number, user=cast.prescriber(), htmx=True)
    assert "Not forecast before it is signed." in part
    case = released_case()
    made()
    Case.objects.filter(pk=case.pk).update(state=Case.State.PACKED)
    assert "Nothing is left to forecast." in text("planning:outlook", case.number, htmx=True)


def test_the_report_takes_the_same_number_of_queries_for_any_number_of_cases() -> None:
    def queries() -> int:
        browser = client(cast.manager())
        with CaptureQueriesContext(connection) as captured:
            browser.get(reverse("planning:stations"))
        return len(captured)

    released_case()
    made()
    first = queries()
    for number in range(3):
        released_case(patient_ref=f"K-205{number}")
    made()
    assert queries() == first


@pytest.mark.parametrize("late", [None, 0.2])
def test_an_outlook_without_a_reason_shows_no_lone_full_stop(late: float | None) -> None:
    case = released_case()
    made()
    Outlook.objects.update(reason="", late=late, p50=None, p95=None)
    page = text("planning:outlook", case.number, htmx=True)
    assert "ago</span>" in page, "the outlook itself is shown"
    assert not re.search(r"<p[^>]*> ?(\.|</p>)", page), "neither a stop nor a paragraph of nothing"
