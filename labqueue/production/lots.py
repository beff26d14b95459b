"""Lots: which one is in use at a station, and that what is made there inherits it."""

from datetime import date
from itertools import groupby

from django.db import transaction
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Conflict, Refusal, refuse
from labqueue.base.models import User
from labqueue.production.models import Lot, LotInUse, LotUse, Part, RouteStep, Station, WorkStep
from labqueue.production.people import laboratory_only
from labqueue.production.routing import materials_of
from orders.materials import Material


def label(what: str) -> str:
    """A material or part for people: `Zirconia 4Y`, `Titanium base`."""
    return Material(what).label if what in Material.values else Part(what).label


@transaction.atomic
def use_lot(
    actor: User, station: Station, what: str, number: str, product: str = "", expires: date | None = None
) -> LotInUse:
    """Put a lot of `what` into use at `station`, in place of the one before. A lot seen first needs its `product`.

    Raises Refusal where the station takes no such thing, the lot is not known and not described, is described
    otherwise than on file, or has expired.
    """
    laboratory_only(actor)
    if what not in needed(station):
        takes = ", ".join(label(one) for one in needed(station)) or "nothing from a lot"
        raise refuse("what", f"{station.name} does not take that. It takes: {takes}.", "what")
    lot = _lot(what, number.strip(), product.strip(), expires)
    check_expiry(lot)
    before = LotInUse.objects.filter(station=station, what=what).select_related("lot").first()
    values = {"lot": lot, "since": timezone.now(), "by": actor}
    in_use, _ = LotInUse.objects.update_or_create(station=station, what=what, defaults=values)
    number_before = before.lot.number if before else None
    audit.record(
        station, "lot put into use", actor, {"what": what, "lot": number_before}, {"what": what, "lot": lot.number}
    )
    return in_use


def _lot(what: str, number: str, product: str, expires: date | None) -> Lot:
    """The lot on file, or a new one."""
    if not number:
        raise refuse("number", "Give the lot number as it is printed on the label.", "number")
    if len(number) > 20:
        raise refuse("number", "A lot number has at most 20 characters.", "number")
    lot = Lot.objects.filter(what=what, number=number).first()
    if lot is None:
        return _new_lot(what, number, product, expires)
    if (product and product != lot.product) or (expires and expires != lot.expires):
        on_file = f"{lot.product}, expires {lot.expires:%Y-%m-%d}" if lot.expires else f"{lot.product}, without expiry"
        raise refuse("number", f"Lot {number} is on file as {on_file}. Leave product and expiry empty.", "number")
    return lot


def _new_lot(what: str, number: str, product: str, expires: date | None) -> Lot:
    if not product:
        raise refuse("product", f"Lot {number} is new here: give its product name, and its expiry if any.", "product")
    if len(product) > 80:
        raise refuse("product", "A product name has at most 80 characters.", "product")
    return Lot.objects.create(what=what, number=number, product=product, expires=expires)


def check_expiry(lot: Lot, kind: type[Refusal] = Refusal) -> None:
    """Raise `kind` where the lot has expired: it may be used to the end of that day."""
    if lot.expires is not None and lot.expires < timezone.localdate():
        why = f"Lot {lot.number} of {label(lot.what)} expired on {lot.expires:%Y-%m-%d}. Put another lot into use."
        raise refuse("lot", why, "number", kind=kind)


def needed(station: Station) -> list[str]:
    """What the active routes take from lots at this station: materials in their usual order, then parts."""
    steps = RouteStep.objects.filter(route__active=True).select_related("route", "station")
    found: set[str] = set()
    for route, group in groupby(steps, key=lambda step: step.route):
        whole = list(group)
        takes = {step.takes for step in whole if step.station_id == station.pk}
        found |= takes | set(materials_of(route.make, whole) if "material" in takes else [])
    return [what for what in (*Material.values, *Part.values) if what in found]


def what_of(step: WorkStep) -> str:
    """What a step takes from a lot: a material, a part, or nothing."""
    return step.item.material if step.plan.takes == "material" else step.plan.takes


def lot_for(step: WorkStep) -> Lot | None:
    """The lot that a step would take now, or None where it takes none. Raises Conflict where none can be taken."""
    what = what_of(step)
    if not what:
        return None
    in_use = LotInUse.objects.filter(station=step.station, what=what).select_related("lot").first()
    if in_use is None:
        why = f"No lot of {label(what)} is in use at {step.station.name}. Scan or enter the lot there first."
        raise refuse("lot", why, "station", kind=Conflict)
    check_expiry(in_use.lot, kind=Conflict)
    return in_use.lot


def take(step: WorkStep, lot: Lot) -> None:
    """Record that the lot went into the piece, in the caller's transaction."""
    LotUse.objects.create(item=step.item, step=step, attempt=step.attempt, lot=lot)
