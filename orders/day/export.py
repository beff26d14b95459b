"""The list of cases for a spreadsheet (RFC 4180), a line for each piece."""

import csv
from collections.abc import Iterator
from datetime import datetime
from zoneinfo import ZoneInfo

from django.conf import settings

from labqueue.base.models import User
from orders import reads, teeth
from orders.models import Case, Item
from orders.words import said, short

# A spreadsheet takes a text that begins like this for a formula.
FORMULA = ("=", "+", "-", "@", "\t", "\r")
# So that spreadsheets read the bytes as UTF-8.
BYTE_ORDER_MARK = "\ufeff"
COLUMNS = (
    "Case", "Practice", "Patient reference", "Stage", "State", "Tooth (FDI)", "Tooth", "Piece", "Material", "Shade",
    "Appointment", "Leaves", "Promised first", "Stands still since", "Left", "Risk of being late",
)  # fmt: skip


class _Line:
    """What csv.writer writes to: it gives each line back."""

    def write(self, line: str) -> str:
        return line


def lines(user: User, state: str = reads.ALL) -> Iterator[str]:
    """The lines of all cases that `user` may see, heading first. Raises Refusal for an unknown state."""
    cases = reads.listed(user, state)
    writer = csv.writer(_Line())
    yield BYTE_ORDER_MARK + writer.writerow(COLUMNS)
    for case in cases.iterator(chunk_size=500):
        for item in sorted(case.shown.items.all(), key=lambda item: item.line) if case.shown else ():
            yield writer.writerow([harmless(cell) for cell in row(case, item, user)])


def row(case: Case, item: Item, user: User) -> list[str]:
    """One piece. The patient reference is the practice's own, and leaves the service with the practice only."""
    zone = ZoneInfo(case.practice.time_zone)
    outlook = getattr(case, "outlook", None)
    return [
        case.number,
        case.practice.code,
        "" if user.works_here else case.patient_ref,
        case.get_stage_display(),
        short(case.get_state_display()),
        str(item.tooth),
        teeth.shown(item.tooth, case.practice.notation),
        said(item, "kind"),
        said(item, "material"),
        item.shade,
        local(case.seat_at, zone),
        local(case.due_at, ZoneInfo(settings.TIME_ZONE)),
        local(case.first_due_at, ZoneInfo(settings.TIME_ZONE)),
        local(case.held_since, ZoneInfo(settings.TIME_ZONE)),
        local(case.shipped_at, ZoneInfo(settings.TIME_ZONE)),
        f"{outlook.late:.3f}" if outlook is not None and outlook.late is not None else "",
    ]


def local(at: datetime | None, zone: ZoneInfo) -> str:
    """An instant with its offset, to the minute (ISO 8601); empty for none."""
    return "" if at is None else at.astimezone(zone).isoformat(timespec="minutes")


def harmless(cell: str) -> str:
    """A text that no spreadsheet takes for a formula."""
    return f"'{cell}" if cell.startswith(FORMULA) else cell
