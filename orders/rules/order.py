"""Rules of the whole order: its teeth, what came before it, how old its scan is."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

from labqueue.base.templatetags.house import day
from orders import teeth
from orders.choices import Impression
from orders.limits import Wrong
from orders.materials import Kind, Stage
from orders.models import Case, Item
from orders.patients import tidy
from orders.rules.look import Look, Spot
from orders.treatment.duplicates import duplicates_of
from orders.treatment.evaluate import TRIAL

# Tissue moves: a scan for a final is fresh, then old, then of another mouth.
SCAN_OLD, SCAN_TOO_OLD = timedelta(days=30), timedelta(days=90)
# A provisional is not made to last longer.
WORN_OUT = timedelta(days=365)


def rare_tooth(item: Item, look: Look) -> Iterator[Wrong]:
    """A wisdom tooth may be a slip of the pen."""
    if teeth.is_third_molar(item.tooth):
        why = f"The {teeth.words(item.tooth)} is rarely restored on an implant. Check that this tooth is meant."
        yield Wrong("tooth", why)


def clashes(look: Look) -> Iterator[Spot]:
    """The pieces of one tooth go together; the later one is named."""
    there: dict[int, list[str]] = defaultdict(list)
    for index, item in enumerate(look.pieces):
        if why := clash(item.kind, there[item.tooth]) if item.tooth else "":
            yield Spot(f"items.{index}.kind", f"Tooth {teeth.words(item.tooth)}: {why}", item.line)
        there[item.tooth].append(item.kind)


def clash(kind: str, there: Sequence[str]) -> str:
    """Why a piece of this kind cannot be added to those on its tooth; empty where it can."""
    if kind in there:
        return "this piece is ordered twice. Take one out."
    if there and Kind.SCREW_CROWN in (kind, *there):
        return "a one-piece crown is abutment and crown in one. Order it alone, or an abutment with its crown."
    return ""


def seated(origin: Case) -> datetime | None:
    """When a provisional came into the mouth, as far as that is known."""
    return max((at for at in (origin.seat_at, origin.shipped_at) if at), default=None)


def out_of_time(look: Look) -> Iterator[Spot]:
    """A final neither before the tissue has settled nor long after the provisional is worn out."""
    origin = look.origin
    at = seated(origin) if origin and origin.stage == Stage.PROVISIONAL else None
    if at is None:
        return
    when = f"The provisional of {origin} is seated on {day(at)}"
    if look.order.stage == Stage.FINAL and look.now - at < TRIAL:
        yield Spot("origin", f"{when}. Tissue needs three weeks before its final is taken.")
    elif look.now - at > WORN_OUT:
        yield Spot("origin", f"{when}, more than 12 months ago. Check it, and the tissue, before this is made.")


def duplicated(look: Look) -> Iterator[Spot]:
    """No second order for the same tooth of the same patient."""
    patient, origin = tidy(look.order.patient_ref), look.order.origin
    found = duplicates_of(look.practice, patient, look.teeth, case=look.case, origin=origin) if patient else None
    numbers = "" if found is None else ", ".join(found.values_list("number", flat=True))
    if numbers:
        why = f"The same patient and tooth are open in case {numbers}. Cancel one, or answer that both are meant."
        yield Spot("patient_ref", why)


def scan_age(look: Look) -> timedelta | None:
    """How old the scan of a final is; None where there is no such scan."""
    on, scanned = look.prescription.scanned_on, look.prescription.impression == Impression.SCAN
    return look.today - on if on and scanned and look.order.stage == Stage.FINAL else None


def scan_old(look: Look) -> Iterator[Spot]:
    """The scan of a final is fresh."""
    age = scan_age(look)
    if age is not None and SCAN_OLD < age <= SCAN_TOO_OLD:
        yield Spot("scanned_on", f"The scan is {age.days} days old, and tissue moves. Scan again, or say why it holds.")


def scan_too_old(look: Look) -> Iterator[Spot]:
    """The scan of a final is of the mouth as it is."""
    age = scan_age(look)
    if age is not None and age > SCAN_TOO_OLD:
        yield Spot("scanned_on", f"The scan is {age.days} days old. Send a new one and give its day.")


def scan_to_come(look: Look) -> Iterator[Spot]:
    """A scan was taken before it is sent."""
    on = look.prescription.scanned_on
    if on and on > look.today:
        yield Spot("scanned_on", f"The scan is dated {day(on)}, which is to come. Give the day on which it was taken.")
