"""What is said of an order while it is filled in: by the same examination that it is written and signed by."""

from dataclasses import dataclass, field
from datetime import datetime

from django.utils import timezone

from orders import due, words
from orders.check import Examined, as_of, examine, makes_of, standing
from orders.facts import OrderFacts
from orders.findings import REASONED, Severity
from orders.form.sheet import OrderSheet
from orders.intake import tidied
from orders.models import Case, Practice, Reason
from orders.reasons import Asked, answered, asked


@dataclass
class Checked:
    """What cannot be read of an order, and the findings of the rest in words, by what they do."""

    unread: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    holds: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)
    wanted: list[Asked] = field(default_factory=list)
    promise: due.Promise | None = None
    seat_at: datetime | None = None
    # Whether the appointment is on a day on which the practice takes no deliveries.
    no_delivery: bool = False

    @property
    def clear(self) -> bool:
        """Whether nothing keeps the order from being signed and begun."""
        return not (self.unread or self.refused or self.holds or any(not one.text for one in self.wanted))


def check(sheet: OrderSheet, practice: Practice, case: Case | None) -> Checked:
    """The order of a sheet that was sent, examined; nothing is written."""
    wrong = [] if sheet.is_valid() else unread(sheet)
    order = tidied(OrderFacts(**sheet.facts()))
    examined = examine(as_of(case, order) if case else order, practice, case)
    if wrong:
        examined = examined._replace(findings=sheet.readable(examined.findings))
    way = due.way_to(practice)
    by = {severity: words.findings(examined.findings, severity, examined.pieces, practice) for severity in Severity}
    return Checked(
        unread=wrong,
        refused=by[Severity.REFUSE],
        holds=by[Severity.HOLD],
        left=by[Severity.ASK],
        wanted=reasons_wanted(examined, order, case),
        promise=promise_of(way, order, examined),
        seat_at=order.seat_at,
        no_delivery=no_delivery(way, order.seat_at),
    )


def unread(sheet: OrderSheet) -> list[str]:
    """What cannot be read yet, each with the name of its field."""
    said = []
    for form in [sheet.order, *sheet.teeth.forms]:
        for name, errors in form.errors.items():
            label = form.fields[name].label if name in form.fields else ""
            said += [f"{label}: {error}" if label else str(error) for error in errors]
    return said


def reasons_wanted(examined: Examined, order: OrderFacts, case: Case | None) -> list[Asked]:
    """One input for each thing that wants a reason, with what was typed so far, or was kept and still stands."""
    draft = case.draft if case else None
    stand = standing(case, draft, examined.findings) if case and draft else set()
    given = answered(order.reasons, examined.findings, examined.pieces, stand)
    weighed = [
        (one, Reason(text=given[one.rule, one.line]) if (one.rule, one.line) in given else None)
        for one in examined.findings
        if one.severity in REASONED
    ]
    return asked(weighed, examined.pieces)


def promise_of(way: due.Way, order: OrderFacts, examined: Examined) -> due.Promise | None:
    """The date by the usual days, where it is known what is made."""
    makes, now = makes_of(examined.pieces), timezone.now()
    if not makes or due.far_faults(order.seat_at, now):
        return None
    return due.promise_of(way, order, makes, now)


def no_delivery(way: due.Way, seat_at: datetime | None) -> bool:
    """Whether there is an appointment on a day on which the practice is closed to deliveries."""
    return seat_at is not None and not way.practice.is_open(seat_at.astimezone(way.practice_zone).date())
