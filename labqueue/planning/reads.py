"""What people and programs are shown of the last forecast. Figures stay with their age until newer ones are there."""

from dataclasses import dataclass

from django.db.models import Count, Q, Sum

from labqueue.base.models import OutboxRow
from labqueue.planning import bottleneck, freshness, words
from labqueue.planning.floor import FORECAST_STATES
from labqueue.planning.models import Forecast, StationOutlook
from orders.models import Case, Outlook


@dataclass(frozen=True)
class StationLine:
    """One station of the report. `wait` is a text; shares go from 0 to 1, `late_share` with the worst station at 1."""

    row: StationOutlook
    wait: str
    late_share: float
    is_bottleneck: bool


@dataclass(frozen=True)
class Report:
    """The bottleneck report: every station, and what was expected of how many cases as a whole.

    `headline` names the bottleneck and `facts` say why; both without a full stop.
    """

    forecast: Forecast
    lines: list[StationLine]
    headline: str
    facts: str
    cases: int
    late_cases: float
    # Of these, what is overdue already: no station makes it late any more.
    overdue: int

    @property
    def sentence(self) -> str:
        """Both in one sentence."""
        return f"{self.headline}: {self.facts}." if self.facts else f"{self.headline}."

    @property
    def rows(self) -> list[StationOutlook]:
        """The stations as they were kept."""
        return [line.row for line in self.lines]


def report() -> Report | None:
    """The report of the last forecast; None before the first one. Three queries, however many stations and cases."""
    forecast = freshness.latest()
    if forecast is None:
        return None
    rows = list(forecast.stations.select_related("station").order_by("station__position"))
    worst = bottleneck.worst(map(load_of, rows))
    overdue = Count("pk", filter=Q(due_at__lte=forecast.shop_at))
    whole = forecast.predictions.aggregate(cases=Count("pk"), late=Sum("late"), overdue=overdue)
    most = max((row.late_cases for row in rows), default=0.0)
    lines = [line(row, most, worst) for row in rows]
    return Report(
        forecast=forecast,
        lines=lines,
        headline=headline(lines),
        facts=words.bottleneck(worst.late_cases, worst.wait_minutes, worst.utilisation) if worst else "",
        cases=whole["cases"],
        late_cases=whole["late"] or 0.0,
        overdue=whole["overdue"],
    )


def load_of(row: StationOutlook) -> bottleneck.StationLoad:
    """The row as it was computed."""
    return bottleneck.StationLoad(
        row.station.code, row.work_in_process, row.wait_minutes, row.utilisation, row.late_cases
    )


def line(row: StationOutlook, most: float, worst: bottleneck.StationLoad | None) -> StationLine:
    """A row with what the page draws beside it."""
    return StationLine(
        row=row,
        wait="—" if row.wait_minutes is None else words.about(row.wait_minutes).removeprefix("about "),
        late_share=row.late_cases / most if most > 0 else 0.0,
        is_bottleneck=worst is not None and worst.code == row.station.code,
    )


def headline(lines: list[StationLine]) -> str:
    """Which station it is, if it is any."""
    names = [line.row.station.name for line in lines if line.is_bottleneck]
    return f"{names[0]} is the bottleneck" if names else "No station holds the work up"


def failure() -> OutboxRow | None:
    """The last forecast, if it failed for good: then what is shown is older than it should be."""
    last = freshness.last_ended()
    return last if last and last.state == OutboxRow.State.DEAD else None


def outlook_of(case: Case) -> Outlook:
    """What the last forecast said of a case; where it does not speak of it, an empty outlook with the reason."""
    if case.state in FORECAST_STATES:
        return getattr(case, "outlook", None) or Outlook(case=case, reason="no forecast yet")
    before = case.state == Case.State.DRAFT
    return Outlook(case=case, reason="not forecast before it is signed" if before else words.NOTHING_LEFT)
