"""The reasons that are given for what is unusual: read with the order, kept by name beside its draft."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

from django.utils import timezone

from labqueue.base.errors import Fault, Refusal
from labqueue.base.models import User
from labqueue.base.visible import seen
from orders import teeth
from orders.facts import ReasonFacts
from orders.findings import REASONED, Finding, Severity
from orders.models import Item, Member, Prescription, Reason

if TYPE_CHECKING:
    from orders.check import Examined

SHORTEST, LONGEST = 3, 200
Key = tuple[str, int]


def reason_faults(reasons: Sequence[ReasonFacts]) -> list[Fault]:
    """A reason says something, and of which tooth."""
    faults = []
    for index, reason in enumerate(reasons):
        if not SHORTEST <= len(seen(reason.text)) <= LONGEST:
            why = f"Give a short reason, in {SHORTEST} to {LONGEST} characters."
            faults.append(Fault("reason", why, f"reasons.{index}.text"))
        try:
            tooth_of(reason)
        except Refusal as refusal:
            faults += [Fault(one.code, one.message, f"reasons.{index}.tooth") for one in refusal.faults]
    return faults


def answered(
    reasons: Iterable[ReasonFacts],
    findings: Iterable[Finding],
    pieces: Sequence[Item],
    standing: Collection[Key] = (),
) -> dict[Key, str]:
    """The texts by rule and line: each reason answers what its rule found on its tooth, and nothing else.

    One that was kept answers only what is among `standing`, the same as when it was given.
    """
    teeth_by_line = {piece.line: piece.tooth for piece in pieces}
    given = {(reason.rule, tooth_of(reason)): reason for reason in reasons}
    texts = {}
    for found in findings:
        key, reason = (found.rule, found.line), given.get((found.rule, teeth_by_line.get(found.line, 0)))
        if found.severity in REASONED and reason and (not reason.kept or key in standing):
            texts[key] = seen(reason.text)
    return texts


def unchanged(then: Iterable[Finding], now: Iterable[Finding]) -> set[Key]:
    """Rule and line of each finding that wants a reason and says now what it said then, as strongly."""
    said = {(one.rule, one.line, one.severity, one.sentence) for one in then}
    asked = [one for one in now if one.severity in REASONED]
    return {(one.rule, one.line) for one in asked if (one.rule, one.line, one.severity, one.sentence) in said}


def forget(draft: Prescription, standing: Collection[Key]) -> None:
    """Drop the reasons of a draft that were given for something else than what is found now."""
    gone = [one.pk for one in draft.reasons.all() if (one.rule, one.line) not in standing]
    Reason.objects.filter(pk__in=gone).delete()


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


def give(signer: Member, draft: Prescription, examined: "Examined", reasons: Sequence[ReasonFacts]) -> None:
    """Leave every reason with the draft that its signature needs: what is given now is the signer's own.

    Raises Refusal for each unusual thing that nobody gave a reason for, or not somebody who may.
    """
    if faults := reason_faults(reasons):
        raise Refusal(faults)
    there = {(one.rule, one.line): one for one in Reason.objects.filter(prescription=draft).select_related("by")}
    given = answered(reasons, examined.findings, examined.pieces)
    wanted = {(one.rule, one.line): one for one in examined.findings if one.severity in REASONED}
    bare = [one for key, one in wanted.items() if key not in given and not stands(there.get(key), one, signer)]
    if bare:
        raise Refusal([unreasoned(one) for one in bare])
    foreign = [there[key].pk for key in given if key in there and there[key].by_id != signer.user_id]
    Reason.objects.filter(pk__in=foreign).delete()
    keep(signer.user, draft, {**{key: there[key].text for key in wanted if key in there}, **given})


def stands(reason: Reason | None, found: Finding, signer: Member) -> bool:
    """Whether a reason that is there will do: that of an override is given by somebody who may sign."""
    if reason is None or found.severity != Severity.OVERRIDE:
        return reason is not None
    return Member.objects.filter(practice=signer.practice_id, user=reason.by_id, may_sign=True).exists()


def unreasoned(found: Finding) -> Fault:
    """That a reason is wanted, and of whom."""
    who = (
        "A prescriber decides: give a short reason." if found.severity == Severity.OVERRIDE else "Give a short reason."
    )
    return Fault(found.rule, f"{found} {who}", found.field)


class Asked(NamedTuple):
    """A reason that a form asks for: the name of its input, what it answers, and what was said so far."""

    name: str
    why: str
    text: str


def asked(weighed: Iterable[tuple[Finding, Reason | None]], pieces: Iterable[Item]) -> list[Asked]:
    """One input for each rule and tooth, whatever pieces it is of."""
    teeth_by_line = {piece.line: piece.tooth for piece in pieces}
    found: dict[str, list[tuple[Finding, Reason | None]]] = {}
    for one, reason in weighed:
        name = f"reason-{one.rule}-{teeth_by_line.get(one.line, 0)}"
        found.setdefault(name, []).append((one, reason))
    return [
        Asked(name, " ".join(str(one) for one, _ in those), next((reason.text for _, reason in those if reason), ""))
        for name, those in found.items()
    ]


def sent(form: Mapping[str, str]) -> list[ReasonFacts]:
    """The reasons of a form: inputs named `reason-V12-36` by rule and FDI number, `reason-V17-0` of the whole order."""
    found = []
    for name, text in form.items():
        match name.split("-"):
            case ["reason", rule, tooth] if seen(text):
                of_all = tooth == "0"
                found.append(ReasonFacts(rule, text, "" if of_all else tooth, "" if of_all else teeth.Notation.FDI))
    return found


def tooth_of(reason: ReasonFacts) -> int:
    """The FDI number of the tooth that is meant; 0 is the whole order. Raises Refusal where it cannot be read."""
    return teeth.read(reason.tooth, reason.notation) if reason.tooth else 0
