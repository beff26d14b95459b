"""The reasons that are given for what is unusual: read with the order, kept by name beside its draft."""

from collections.abc import Iterable, Sequence

from django.utils import timezone

from labqueue.base.errors import Fault, Refusal
from labqueue.base.models import User
from orders import teeth
from orders.facts import ReasonFacts
from orders.findings import REASONED, Finding
from orders.models import Item, Prescription, Reason

SHORTEST, LONGEST = 3, 200
Key = tuple[str, int]


def reason_faults(reasons: Sequence[ReasonFacts]) -> list[Fault]:
    """A reason says something, and of which tooth."""
    faults = []
    for index, reason in enumerate(reasons):
        if not SHORTEST <= len(tidy(reason.text)) <= LONGEST:
            why = f"Give a short reason, in {SHORTEST} to {LONGEST} characters."
            faults.append(Fault("reason", why, f"reasons.{index}.text"))
        try:
            tooth_of(reason)
        except Refusal as refusal:
            faults += [Fault(one.code, one.message, f"reasons.{index}.tooth") for one in refusal.faults]
    return faults


def answered(reasons: Iterable[ReasonFacts], findings: Iterable[Finding], pieces: Sequence[Item]) -> dict[Key, str]:
    """The texts by rule and line: each reason answers what its rule found on its tooth, and nothing else."""
    teeth_by_line = {piece.line: piece.tooth for piece in pieces}
    given = {(reason.rule, tooth_of(reason)): tidy(reason.text) for reason in reasons}
    asked = [found for found in findings if found.severity in REASONED]
    wanted = [(found.rule, found.line, teeth_by_line.get(found.line, 0)) for found in asked]
    return {(rule, line): given[rule, tooth] for rule, line, tooth in wanted if (rule, tooth) in given}


def keep(actor: User, draft: Prescription, texts: dict[Key, str]) -> None:
    """Leave just these reasons with the draft. One that says what it said keeps its name and time."""
    there = {(one.rule, one.line): one for one in draft.reasons.all()}
    gone = [one.pk for key, one in there.items() if texts.get(key) != one.text]
    draft.reasons.filter(pk__in=gone).delete()
    now = timezone.now()
    Reason.objects.bulk_create(
        Reason(prescription=draft, rule=rule, line=line, text=text, by=actor, at=now)
        for (rule, line), text in texts.items()
        if (rule, line) not in there or there[rule, line].text != text
    )


def tooth_of(reason: ReasonFacts) -> int:
    """The FDI number of the tooth that is meant; 0 is the whole order. Raises Refusal where it cannot be read."""
    return teeth.read(reason.tooth, reason.notation) if reason.tooth else 0


def tidy(text: str) -> str:
    """Without needless spaces."""
    return " ".join(text.split())
