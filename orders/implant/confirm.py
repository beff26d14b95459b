"""Confirming what was ordered for an implant, by a second person who read label or scan body again."""

from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from labqueue.base import audit
from labqueue.base.errors import Conflict, Fault, Forbidden, Refusal, refuse
from labqueue.base.models import User
from orders import teeth
from orders.checks import hundredths
from orders.doors import lock
from orders.findings import Moment
from orders.implant.reads import is_confirmed, pieces_of
from orders.models import Case, Confirmation, Item
from orders.rules import hits
from orders.rules.reading import Reading

S = Case.State
# From the acceptance on there is a first person; until the pieces are finished a second one can look.
CONFIRMABLE = frozenset({S.ACCEPTED, S.RELEASED})


@transaction.atomic
def confirm(
    actor: User,
    case: Case,
    *,
    tooth: str,
    notation: str,
    kind: str,
    system: str,
    connection: str,
    platform: Decimal | None,
    level: str,
    source: str,
) -> Confirmation:
    """Keep that `actor` read the same off `source` as was ordered for this piece; the platform in millimetres.

    Raises Forbidden for practices and for who accepted the case, Conflict where there is nothing to be confirmed now,
    Refusal with everything that was read otherwise (V06).
    """
    lock(case)
    second_person(actor, case)
    item = piece_at(case, teeth.read(tooth, notation), kind)
    read = Reading(item, " ".join(system.split()), connection, hundredths(platform), level)
    faults = [found.fault() for found in hits(Moment.CONFIRM, read)] + source_faults(source)
    if faults:
        raise Refusal(faults)
    if is_confirmed(case, item):
        raise refuse("piece", "A second person has confirmed this piece already.", kind=Conflict)
    facts = {"tooth": item.tooth, "kind": item.kind, "system": item.system, "connection": item.connection}
    facts |= {"platform": item.platform, "level": item.level, "source": source}
    found = Confirmation.objects.create(case=case, by=actor, at=timezone.now(), **facts)
    audit.record(case, "implant confirmed", actor, after=facts)
    return found


def second_person(actor: User, case: Case) -> None:
    """Raises Forbidden where `actor` cannot be the second person, Conflict where the case is not to be confirmed."""
    if not actor.works_here:
        raise refuse("role", "Only people of the laboratory confirm an implant.", kind=Forbidden)
    if case.state not in CONFIRMABLE:
        why = f"{case} is {case.get_state_display().lower()}. An implant is confirmed once the case is accepted."
        raise refuse("state", why, kind=Conflict)
    if case.accepted_by_id == actor.pk:
        why = "You accepted this case. A second person reads label or scan body again and confirms it."
        raise refuse("person", why, kind=Forbidden)


def piece_at(case: Case, tooth: int, kind: str) -> Item:
    """The piece of the current version that meets the implant there. Raises Refusal where there is none."""
    found = next((one for one in pieces_of(case) if (one.tooth, one.kind) == (tooth, kind)), None)
    if found is None:
        why = "The prescription has no such piece on this tooth that meets an implant. Choose one of its pieces."
        raise refuse("tooth", why, "tooth")
    return found


def source_faults(source: str) -> list[Fault]:
    """Where it was read is one of the known places."""
    if source in Confirmation.Source.values:
        return []
    return [Fault("source", f"Say where you read it: {', '.join(Confirmation.Source.values)}.", "source")]
