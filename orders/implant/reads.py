"""What is confirmed of a case, and what is not."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Exists, F, OuterRef, QuerySet

from orders.fields import ON_IMPLANT
from orders.models import Case, Confirmation, Item

# What a confirmation speaks of: where these are the same, it stands for every later version, too.
COMPARED = ("tooth", "kind", "system", "connection", "platform", "level")


@dataclass(frozen=True)
class Piece:
    """A piece that meets the implant, with the confirmation that stands for it, if any."""

    item: Item
    confirmation: Confirmation | None


def pieces_of(case: Case) -> list[Item]:
    """The pieces of the version that counts which meet the implant."""
    items = case.current.items.all() if case.current else ()
    return [item for item in items if item.kind in ON_IMPLANT]


def confirmed(case: Case) -> list[Piece]:
    """All these pieces, each with what confirms it. Who accepted the case is the first person, never the second."""
    given: Sequence[Confirmation] = list(case.confirmations.select_related("by").order_by("at", "pk"))
    second = [one for one in given if case.accepted_by_id is None or one.by_id != case.accepted_by_id]
    return [Piece(item, next((one for one in second if same(one, item)), None)) for item in pieces_of(case)]


def unconfirmed(case: Case) -> list[Item]:
    """The pieces that no second person has confirmed as they are ordered now."""
    return [piece.item for piece in confirmed(case) if piece.confirmation is None]


def is_confirmed(case: Case, item: Item) -> bool:
    """Whether a second person has confirmed that piece."""
    return item not in unconfirmed(case)


def to_confirm() -> "QuerySet[Case]":
    """The cases that wait for a release with a piece that no second person has confirmed as it is ordered now, those
    that were changed on the floor among them. One query."""
    here = {name: OuterRef(name) for name in COMPARED}
    second = Confirmation.objects.filter(case=OuterRef("prescription__case"), **here).exclude(by=F("case__accepted_by"))
    current = Item.objects.filter(kind__in=ON_IMPLANT, prescription=F("prescription__case__current"))
    bare = current.exclude(Exists(second)).values("prescription__case")
    waiting = (Case.State.ACCEPTED, Case.State.RELEASED)
    return Case.objects.filter(state__in=waiting, held_since__isnull=True, pk__in=bare)


def same(confirmation: Confirmation, item: Item) -> bool:
    """Whether that was confirmed which is ordered."""
    return all(getattr(confirmation, name) == getattr(item, name) for name in COMPARED)
