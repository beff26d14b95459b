"""The demonstration's evaluations: most provisionals whose trial is over were looked at, the latest are still to be."""

from datetime import datetime, timedelta
from random import Random

from labqueue.demo.history import Told
from labqueue.demo.ledger import Change, Ledger
from labqueue.demo.people import Cast
from orders.materials import Stage
from orders.models import Case, Evaluation
from orders.models.treatment import JUDGED, Verdict
from orders.treatment.evaluate import TRIAL

# How long after the trial a practice looks, at the latest.
LATEST = timedelta(days=6)
WISHES = {
    "length": "Incisal edge 0.3 mm shorter.",
    "papilla_mesial": "Contact point 0.5 mm further down.",
    "contact": "Distal contact lighter.",
    "shade": "One step lighter at the neck.",
}
WORDS = ("Feels like my own.", "A little bulky at first, fine now.", "", "")


class Trials:
    """Writes down what practices found in the mouth, three weeks after the seating."""

    def __init__(self, ledger: Ledger, cast: Cast, now: datetime) -> None:
        self.ledger, self.now = ledger, now
        self.preparers = {practice.pk: user for practice, user in zip(cast.practices, cast.preparers, strict=True)}
        self.rng = Random(6)  # noqa: S311 - a demonstration, not a secret

    def evaluate(self, one: Told) -> None:
        """The evaluation of a case, where it is a provisional whose trial is well over."""
        case = one.case
        if case.stage != Stage.PROVISIONAL or case.state != Case.State.SHIPPED or case.shipped_at is None:
            return
        seated = max(case.seat_at or case.shipped_at, case.shipped_at)
        at = seated + TRIAL + self.rng.random() * LATEST
        if at + LATEST > self.now:
            return
        by, wish = self.preparers[case.practice_id], self.rng.choice([*WISHES, "", "", ""])
        judged = {name: Verdict.CHANGE if name == wish else Verdict.OK for name in JUDGED}
        found = self.ledger.add(
            Evaluation(
                case=case,
                facial=Evaluation.Facial.OK,
                **judged,
                changes=WISHES.get(wish, ""),
                happy=not wish or self.rng.random() < 0.7,
                words=self.rng.choice(WORDS),
                decision=Evaluation.Decision.FINAL,
                by=by,
                at=at,
            )
        )
        one.changes.append(Change(at, "evaluated", by, after={"evaluation": found.pk, "decision": found.decision}))
