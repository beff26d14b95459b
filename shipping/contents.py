"""What lies in a box: the pieces of a case as they were signed and made, with the lots that went into them."""

from collections import Counter
from dataclasses import dataclass

from django.db.models import F

from labqueue.production.models import Lot, LotUse, Part, WorkItem
from orders.models import Case, Item


@dataclass(frozen=True)
class Content:
    """One piece: as made, as signed, and its lots. A lot of an attempt that was thrown away is not in it."""

    made: WorkItem
    item: Item
    lots: tuple[Lot, ...]

    @property
    def own_lots(self) -> list[Lot]:
        """The lots in the piece itself; a screw lies beside it."""
        return [lot for lot in self.lots if lot.what != Part.SCREW]


def contents(case: Case) -> list[Content]:
    """The live pieces of a case, in the order of its prescription. Three queries."""
    made = {
        (work.tooth, work.kind): work
        for work in WorkItem.objects.filter(case=case).exclude(state=WorkItem.State.WITHDRAWN)
    }
    lots: dict[int, list[Lot]] = {}
    for use in LotUse.objects.filter(item__case=case, attempt=F("step__attempt")).select_related("lot").order_by("id"):
        lots.setdefault(use.item_id, []).append(use.lot)
    items = Item.objects.filter(prescription=case.current_id).order_by("line")
    pairs = [(made[item.tooth, item.kind], item) for item in items if (item.tooth, item.kind) in made]
    return [Content(work, item, tuple(lots.get(work.pk, ()))) for work, item in pairs]


def parts(pieces: list[Content]) -> Counter[Lot]:
    """The bought parts in a box, each lot with its count, in the order in which they were taken."""
    kinds = {part.value for part in Part}
    return Counter(lot for piece in pieces for lot in piece.lots if lot.what in kinds)
