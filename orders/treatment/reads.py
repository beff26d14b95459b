"""A treatment as it is shown: what follows what, both appointments, what was found, and what can be ordered next."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from labqueue.base.models import User
from orders.choices import Relation
from orders.doors import cases_for
from orders.materials import Stage
from orders.models import Case, Evaluation
from orders.treatment.carry import LIKE
from orders.treatment.evaluate import to_evaluate
from orders.treatment.plan import Appointment, appointments, is_early
from orders.treatment.relation import AFTER

S = Case.State
WAYS = {
    Relation.FINAL: "Order the final",
    Relation.REMAKE: "Order a remake",
    Relation.ADJUSTMENT: "Order an adjustment",
    LIKE: "Order the same for another patient",
}


@dataclass(frozen=True)
class Treatment:
    """All of it. `asked_since` is since when an evaluation is due; None where none is."""

    case: Case
    later: list[Case]
    final: Case | None
    appointments: list[Appointment]
    early: bool
    evaluations: list[Evaluation]
    asked_since: datetime | None
    ways: list[tuple[str, str]]

    @property
    def may_evaluate(self) -> bool:
        """Whether the provisional has left, so that it can have been tried."""
        return self.case.stage == Stage.PROVISIONAL and self.case.state == S.SHIPPED

    @property
    def may_plan(self) -> bool:
        """Whether a final can be planned for it."""
        return self.case.stage == Stage.PROVISIONAL and self.case.state != S.CANCELLED and self.final is None


def treatment_of(case: Case, reader: User, now: datetime) -> Treatment:
    """The treatment that a case belongs to, seen from that case by `reader`. A constant number of queries."""
    provisional = case.stage == Stage.PROVISIONAL
    asked = to_evaluate(now).filter(pk=case.pk).first() if provisional else None
    later = list(followers(case, reader))
    final = next((one for one in later if one.relation == Relation.FINAL), None)
    planned = final.seat_at if final else case.final_seat_at
    return Treatment(
        case=case,
        later=later,
        final=final,
        appointments=appointments(case, planned, now) if provisional and case.state != S.CANCELLED else [],
        early=is_early(case),
        evaluations=list(case.evaluations.select_related("by").order_by("-at", "-pk")),
        asked_since=asked.asked_since if asked else None,
        ways=[
            (relation, label)
            for relation, label in WAYS.items()
            if possible(case, relation) and not (final and relation == Relation.FINAL)
        ],
    )


def followers(case: Case, reader: User) -> "QuerySet[Case]":
    """The cases that follow it and that `reader` may see, oldest first; what was cancelled is left out."""
    return cases_for(reader).filter(origin=case).exclude(state=S.CANCELLED).order_by("number")


def possible(case: Case, relation: str) -> bool:
    """Whether such an order can follow the case in its state."""
    if relation == LIKE:
        return case.current_id is not None
    if relation == Relation.FINAL and case.stage != Stage.PROVISIONAL:
        return False
    return case.state in AFTER[Relation(relation)]
