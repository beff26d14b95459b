"""Work items as pieces in the hand: their codes and their states."""

from labqueue.base import codes
from labqueue.base.errors import refuse
from labqueue.production.models import WorkItem
from orders.models import Case

S = WorkItem.State
MOVES: dict[str, frozenset[str]] = {
    S.OPEN: frozenset({S.DONE, S.WITHDRAWN}),
    S.DONE: frozenset(),
    S.WITHDRAWN: frozenset(),
}
CODE_LENGTH = 10
# Two digits of a code count the pieces of a case; 00 stands for the case itself.
MOST_PIECES = 99


def code_of(case: Case, line: int) -> str:
    """The code of a piece: seven digits of its case, two of its line, one check digit."""
    return codes.with_check(f"{case.number}{line:02d}")


def piece_by(code: str) -> WorkItem:
    """The piece that bears a scanned code, with its case. Raises Refusal naming `code`."""
    digits = codes.with_check(codes.read(code, CODE_LENGTH))
    item = WorkItem.objects.select_related("case__practice", "case__current", "route").filter(code=digits).first()
    if item is None and digits[7:9] == "00":
        why = f"{digits} is the code of case {digits[:7]} as a whole. Scan the code of one of its pieces."
        raise refuse("code", why, "code")
    if item is None:
        raise refuse("code", f"No piece of this laboratory bears the code {digits}. Look at the label again.", "code")
    return item


def amended(case: Case) -> bool:
    """Whether a newer prescription was signed than the one that the floor works by."""
    live = case.work_items.exclude(state=WorkItem.State.WITHDRAWN)
    return live.exclude(prescription=case.current_id).exists()
