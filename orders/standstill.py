"""What a signed version still waits for: asked of the practice once, answered by itself once a version brings it."""

from collections.abc import Iterable, Mapping, Sequence

from orders import teeth
from orders.check import look_at
from orders.findings import Finding, Moment, Severity
from orders.models import OVER_STATES, Case, Item, Message
from orders.rules import absent, hits
from orders.talk.stops import answer, open_stops, settle, stop
from orders.treatment.duplicates import duplicates_of

DUPLICATE_RULE = "V16"
LENGTH = 1000
# What the service answers to a design that was shown of another version.
CHANGED = "Asked anew: the prescription was changed."
K = Message.Kind


def ask(case: Case, findings: Iterable[Finding], pieces: Sequence[Item]) -> None:
    """Let the case stand still for what is held of its current version, one message of each kind; `settle` comes after.

    Belongs into the transaction that signs. What a person answered before is not asked again. A design of the version
    before waits for nobody any more.
    """
    for shown in open_stops(case).filter(kind=K.APPROVAL):
        answer(case, shown, None, CHANGED)
    held = [found for found in findings if found.severity == Severity.HOLD]
    missing = {key(found): found for found in held if found.rule != DUPLICATE_RULE}
    doubled = next((found for found in held if found.rule == DUPLICATE_RULE), None)
    renew(case, K.MISSING, missing, pieces)
    renew(case, K.DUPLICATE, dict.fromkeys(others(case, pieces), doubled) if doubled else {}, pieces)


def bring(case: Case) -> None:
    """After a file came: what it brings is no longer asked for, and the case goes on where nothing else is open.

    A case that has left, or was cancelled, is left alone. Belongs into a transaction that has locked the case.
    """
    if case.state in OVER_STATES:
        return
    if case.current is None or not open_stops(case).filter(kind=K.MISSING).exists():
        return
    look = look_at(case, case.current)
    ask_again = [*hits(Moment.ORDER, look), *absent(look)]
    held = {key(found): found for found in ask_again if found.severity == Severity.HOLD}
    renew(case, K.MISSING, held, look.pieces)
    settle(case, None)


def renew(case: Case, kind: str, held: Mapping[str, Finding], pieces: Sequence[Item]) -> None:
    """Ask for these things, unless just that is asked already; what is asked and no longer held is answered."""
    before = list(case.messages.filter(kind=kind).select_related("answer"))
    waiting = [one for one in before if not hasattr(one, "answer")]
    told = {name for one in before if hasattr(one, "answer") and one.answer.by_id for name in one.fields}
    wanted = {name: found for name, found in held.items() if name not in told}
    for message in waiting:
        if set(message.fields) == set(wanted):
            return
        answer(case, message, None, "Asked anew: something of it was brought." if wanted else "Brought.")
    if wanted:
        stop(case, kind, words(wanted.values(), pieces, case), fields=list(wanted))


def key(found: Finding) -> str:
    """What is missing, in every version: the column, with the line of its piece (`2.shade`)."""
    column = found.rule if found.field == "files" else found.field.split(".")[-1]
    return f"{found.line}.{column}" if found.line else column


def words(findings: Iterable[Finding], pieces: Sequence[Item], case: Case) -> str:
    """Each sentence once, with the teeth that it is said of."""
    notation, numbers = case.practice.notation, {piece.line: piece.tooth for piece in pieces}
    said: dict[str, list[str]] = {}
    for found in findings:
        said.setdefault(str(found), []).extend(
            [teeth.sign(numbers[found.line], notation)] if found.line in numbers else []
        )
    name = teeth.NOTATION_NAMES[notation]
    parts = [f"{one} ({', '.join(dict.fromkeys(at))} {name})" if at else one for one, at in said.items()]
    text = " ".join(parts)
    return text if len(text) <= LENGTH else f"{text[: LENGTH - 1]}…"


def others(case: Case, pieces: Sequence[Item]) -> list[str]:
    """The numbers of the cases that are open for the same patient and tooth."""
    origin = case.origin.number if case.origin else ""
    found = duplicates_of(case.practice, case.patient_ref, {one.tooth for one in pieces}, case=case, origin=origin)
    return list(found.values_list("number", flat=True))
