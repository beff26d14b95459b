"""How a provisional did in the mouth: asked about three weeks after it was seated, answered by the practice."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, TypedDict

from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce, Greatest
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Conflict, Fault, Refusal, refuse
from labqueue.base.models import User
from orders.checks import hundredths
from orders.choices import Relation
from orders.doors import lock, own_case
from orders.materials import Stage
from orders.models import Case, Evaluation
from orders.models.treatment import JUDGED, Verdict

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

# Tissue needs about three weeks to follow a new profile.
TRIAL = timedelta(days=21)
TEXT_LENGTH = 300
# A facial margin that is off by more is a slip of the pen.
MOST_MM = Decimal(10)


class Asked(TypedDict):
    """What `to_evaluate` adds to a case."""

    asked_since: datetime


@dataclass(frozen=True)
class EvaluationFacts:
    """What the practice found. `facial_mm` is how far the facial margin is off; `judged` has a verdict per word of
    `JUDGED`, what is left out is as it should be."""

    decision: str
    happy: bool | None = None
    facial: str = Evaluation.Facial.OK
    facial_mm: Decimal | None = None
    judged: Mapping[str, str] = field(default_factory=dict)
    changes: str = ""
    words: str = ""


@transaction.atomic
def evaluate(actor: User, case: Case, facts: EvaluationFacts) -> Evaluation:
    """Keep what the practice of `actor` found. It stays; a later look is another evaluation.

    Raises Forbidden for other practices, Conflict where the case is no provisional that has left the laboratory,
    Refusal with every fault.
    """
    lock(case)
    own_case(actor, case)
    if case.stage != Stage.PROVISIONAL or case.state != Case.State.SHIPPED:
        why = f"{case} is no provisional that has left the laboratory. Evaluate it once it was tried."
        raise refuse("state", why, kind=Conflict)
    if faults := [*verdict_faults(facts), *facial_faults(facts), *text_faults(facts)]:
        raise Refusal(faults)
    said = {name: facts.judged.get(name, Verdict.OK) for name in JUDGED}
    found = Evaluation.objects.create(
        case=case,
        facial=facts.facial,
        facial_mm=hundredths(facts.facial_mm),
        **said,
        changes=tidy(facts.changes),
        happy=bool(facts.happy),
        words=tidy(facts.words),
        decision=facts.decision,
        by=actor,
        at=timezone.now(),
    )
    audit.record(case, "evaluated", actor, after={"evaluation": found.pk, "decision": found.decision})
    return found


def tidy(text: str) -> str:
    """A text without needless spaces."""
    return " ".join(text.split())


def verdict_faults(facts: EvaluationFacts) -> list[Fault]:
    """Each word is one of its list, and somebody has asked the patient."""
    lists = {
        "decision": (facts.decision, Evaluation.Decision.values),
        "facial": (facts.facial, Evaluation.Facial.values),
        **{name: (word, Verdict.values) for name, word in facts.judged.items()},
    }
    unknown = [name for name, (word, values) in lists.items() if word not in values]
    faults = [Fault(name, f"Choose one of {', '.join(lists[name][1])}.", name) for name in unknown]
    faults += [Fault(name, f"“{name[:20]}” is not judged.", "judged") for name in facts.judged if name not in JUDGED]
    if facts.happy is None:
        faults.append(Fault("happy", "Say whether the patient is happy with it: yes or no.", "happy"))
    return faults


def facial_faults(facts: EvaluationFacts) -> list[Fault]:
    """How far the margin is off is said where it is off, and nowhere else."""
    if facts.facial_mm is None and facts.facial in ("", Evaluation.Facial.OK):
        return []
    if facts.facial_mm is None:
        return [Fault("facial_mm", "Give how far the margin is off, in millimetres.", "facial_mm")]
    if facts.facial == Evaluation.Facial.OK:
        return [Fault("facial_mm", "The margin is as it should be; leave the millimetres out.", "facial_mm")]
    if not (facts.facial_mm.is_finite() and 0 < facts.facial_mm <= MOST_MM):
        return [Fault("facial_mm", f"Give how far the margin is off, up to {MOST_MM} mm.", "facial_mm")]
    exact = hundredths(facts.facial_mm) or 0
    return [] if exact > 0 else [Fault("facial_mm", "Give the millimetres in steps of 0.01.", "facial_mm")]


def text_faults(facts: EvaluationFacts) -> list[Fault]:
    """What is to be changed is said, and texts have an end."""
    faults = [
        Fault(name, f"Say it in at most {TEXT_LENGTH} characters.", name)
        for name in ("changes", "words")
        if len(tidy(getattr(facts, name))) > TEXT_LENGTH
    ]
    if facts.happy is False and not (tidy(facts.words) or tidy(facts.changes)):
        faults.append(Fault("words", "Say what the patient is not happy with.", "words"))
    if Verdict.CHANGE in facts.judged.values() and not tidy(facts.changes):
        faults.append(Fault("changes", "Say what is to be changed, and by how much.", "changes"))
    return faults


def to_evaluate(now: datetime) -> "QuerySet[WithAnnotations[Case, Asked]]":
    """The provisionals that three weeks of trial are over for, or three weeks since the decision to wait or reshape,
    without a final, the one that has waited longest first; each with `asked_since`."""
    last = Evaluation.objects.filter(case=OuterRef("pk")).order_by("-at", "-pk")
    seated = Greatest(Coalesce("seat_at", "shipped_at"), "shipped_at")
    finals = Case.objects.filter(origin=OuterRef("pk"), relation=Relation.FINAL).exclude(state=Case.State.CANCELLED)
    tried = Case.objects.filter(stage=Stage.PROVISIONAL, state=Case.State.SHIPPED).annotate(
        decision=Subquery(last.values("decision")[:1]), since=Coalesce(Subquery(last.values("at")[:1]), seated)
    )
    waiting = tried.filter(Q(decision__isnull=True) | ~Q(decision=Evaluation.Decision.FINAL), since__lte=now - TRIAL)
    return waiting.exclude(Exists(finals)).annotate(asked_since=F("since") + TRIAL).order_by("since", "number")
