"""Finding cases by what is written in them. What was asked for is in the body, so no patient is in an address."""

from dataclasses import dataclass
from datetime import date, time
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import F, Q, QuerySet

from labqueue.base.errors import Fault, Refusal
from labqueue.base.models import User
from labqueue.base.workdays import at
from orders import teeth
from orders.doors import cases_for
from orders.models import Case, Item
from orders.patients import tidy
from orders.reads import ALL, narrowed, with_versions

# A field of a piece with fewer letters would find nearly everything.
FEWEST = 2
START, END = time(0), time(23, 59, 59)
# Near the ends of the calendar a day has no instant in every zone.
FIRST, LAST = date(2000, 1, 1), date(2199, 12, 31)


@dataclass(frozen=True)
class Wanted:
    """What is looked for; what is empty does not count. Days are those of the laboratory."""

    patient_ref: str = ""
    tooth: str = ""
    notation: str = ""
    system: str = ""
    lot: str = ""
    state: str = ALL
    seat_from: date | None = None
    seat_to: date | None = None


def found(actor: User, wanted: Wanted) -> "QuerySet[Case]":
    """The cases that `actor` may see and all of this is true of, by appointment, with all that a list shows.

    The laboratory finds what was signed; a practice also finds its drafts. Raises Refusal with every fault.
    """
    fdi, faults = tooth_of(wanted)
    if faults := [*faults, *faults_of(wanted)]:
        raise Refusal(faults)
    cases = narrowed(cases_for(actor), wanted.state)
    if wanted.patient_ref.strip():
        cases = cases.filter(patient_ref=tidy(wanted.patient_ref))
    pieces = pieces_asked(wanted, fdi)
    if pieces:
        seen = Item.objects.filter(pieces)
        seen = seen.filter(prescription__signed_at__isnull=False) if actor.works_here else seen
        cases = cases.filter(pk__in=seen.values("prescription__case"))
    cases = cases.filter(appointment(wanted))
    return with_versions(cases).order_by(F("seat_at").asc(nulls_last=True), "number")


def pieces_asked(wanted: Wanted, fdi: int) -> Q:
    """What is asked of one and the same piece."""
    asked = Q()
    if fdi:
        asked &= Q(tooth=fdi)
    if wanted.system.strip():
        asked &= Q(system__icontains=wanted.system.strip())
    if wanted.lot.strip():
        asked &= Q(lot__iexact=wanted.lot.strip()) | Q(catalogue__iexact=wanted.lot.strip())
    return asked


def appointment(wanted: Wanted) -> Q:
    """From the first day to the end of the last."""
    zone, asked = ZoneInfo(settings.TIME_ZONE), Q()
    if wanted.seat_from:
        asked &= Q(seat_at__gte=at(wanted.seat_from, START, zone))
    if wanted.seat_to:
        asked &= Q(seat_at__lte=at(wanted.seat_to, END, zone))
    return asked


def tooth_of(wanted: Wanted) -> tuple[int, list[Fault]]:
    """The FDI number, 0 where none is asked for."""
    if not wanted.tooth.strip():
        return 0, []
    try:
        return teeth.read(wanted.tooth, wanted.notation), []
    except Refusal as refusal:
        return 0, list(refusal.faults)


def faults_of(wanted: Wanted) -> list[Fault]:
    """What finds nothing whatever is there, or everything."""
    faults = []
    if 0 < len(wanted.system.strip()) < FEWEST:
        faults.append(Fault("system", f"Give at least {FEWEST} letters of the implant system.", "system"))
    for name in ("seat_from", "seat_to"):
        day = getattr(wanted, name)
        if day is not None and not FIRST <= day <= LAST:
            faults.append(Fault(name, f"Give a day from {FIRST} to {LAST}.", name))
    if wanted.seat_from and wanted.seat_to and wanted.seat_from > wanted.seat_to:
        faults.append(Fault("seat_to", "The last day lies before the first. Turn them round.", "seat_to"))
    return faults
