"""Showing a design to the practice: the case stands still until somebody who may has approved it."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import QuerySet

from labqueue.base import audit
from labqueue.base.errors import Conflict, Fault, Refusal, refuse
from labqueue.base.models import User
from orders import words
from orders.doors import lock
from orders.findings import Moment
from orders.hold import HOLDABLE
from orders.models import Attachment, Case, Item, Message
from orders.rules import hits
from orders.rules.design import BLANK, Design
from orders.talk.stops import open_stops, stop
from orders.talk.text import written

FIGURES = tuple(BLANK)
# What has more is no figure of a piece that goes into a mouth, in mm or degrees.
MOST = Decimal(100)


@transaction.atomic
def ask_approval(
    actor: User,
    case: Case,
    text: str,
    attachment: Attachment,
    line: int | None = None,
    figures: Mapping[str, Decimal] | None = None,
) -> Message:
    """Stop the case and show the practice a design with what was measured in it, of the piece in that line.

    `figures` are wall, collar and post in millimetres, angle in degrees; what was not measured is left out. Raises
    Conflict where the case is not at work or a design is shown already, Refusal where the file is no checked design
    of this case, or a figure is beyond what material and blank allow.
    """
    lock(case)
    check_state(case)
    asked = written(text)
    if not shown_to(case).filter(pk=attachment.pk).exists():
        why = f"Choose a design of {case} that was checked and is not withdrawn; upload it first."
        raise refuse("attachment", why, "attachment")
    measured = {name: value for name, value in (figures or {}).items() if value is not None}
    if faults := figure_faults(case, line, measured):
        raise Refusal(faults)
    said = as_said(case, piece_in(case, line), measured)
    shown = stop(case, Message.Kind.APPROVAL, asked, actor, attachment=attachment, figures=said)
    audit.record(case, "asked for approval", actor, after={"message": shown.pk, "sha256": attachment.sha256})
    return shown


def as_said(case: Case, piece: Item | None, measured: Mapping[str, Decimal]) -> dict[str, Any]:
    """The figures as they are kept, with the piece in the words of today; nothing where none was measured."""
    if piece is None:
        return {}
    plain = {name: f"{value.normalize():f}" for name, value in measured.items()}
    return {"line": piece.line, "piece": named(case, piece), **plain}


def named(case: Case, item: Item) -> str:
    """A piece in words: `8 (Universal, FDI 11), Abutment, titanium alloy`."""
    tooth = words.tooth(item.tooth, case.practice)
    return f"{tooth['number']} ({tooth['notation']}), {words.piece(item)}"


def shown_to(case: Case) -> "QuerySet[Attachment]":
    """The designs of a case that can be shown, the latest first."""
    designs = case.attachments.filter(role=Attachment.Role.DESIGN, state=Attachment.State.READY)
    return designs.filter(withdrawn_at__isnull=True).order_by("-number")


def check_state(case: Case) -> None:
    """Raise Conflict where nothing can be approved now."""
    asked = open_stops(case).filter(kind=Message.Kind.APPROVAL).exists()
    if asked:
        raise refuse("state", f"A design of {case} waits for its approval already.", kind=Conflict)
    if case.state not in HOLDABLE:
        now = case.get_state_display().lower()
        raise refuse("state", f"{case} is {now}; there is no design to be approved.", kind=Conflict)


def figure_faults(case: Case, line: int | None, figures: Mapping[str, Decimal]) -> list[Fault]:
    """What is wrong with the figures, all of them."""
    faults = [Fault("figures", why, f"figures.{name}") for name, value in figures.items() if (why := odd(name, value))]
    piece = piece_in(case, line)
    if piece is None and (figures or line is not None):
        faults.append(Fault("line", "Choose the piece that was measured.", "line"))
    if faults or piece is None:
        return faults
    found = hits(Moment.DESIGN, Design(piece.material, figures))
    return [Fault(one.rule, str(one), f"figures.{one.field}") for one in found]


def piece_in(case: Case, line: int | None) -> Item | None:
    """The piece of the signed version in that line, if there is one."""
    return case.current.items.filter(line=line).first() if case.current and line is not None else None


def odd(name: str, value: Decimal) -> str:
    """Why this is no figure; empty where it is one."""
    if name not in FIGURES:
        return f"“{name[:20]}” is not measured. Give any of {', '.join(FIGURES)}."
    if not value.is_finite() or not 0 <= value <= MOST:
        return f"Give the {name} from 0 to {MOST}, or leave it out."
    return ""
